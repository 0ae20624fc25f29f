"""Detached signatures of closed runs, made and checked by OpenSSH's ``ssh-keygen -Y``.

Why that and not a library: most people who have a key at all have one of OpenSSH; it is on every
common system, knows agents, passphrases and hardware keys, and no private key ever passes through
this program. Anyone can check such a signature without it, too:

    ssh-keygen -Y verify -f signers -I NAME -n ohmward-journal -s RUN.sig-1 < RUN.jsonl

Signed are the bytes of the journal. A signature stands beside it as ``<run>.sig-1``, a second
person's as ``.sig-2`` and so on.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ohmward.errors import Refused, Unreachable
from ohmward.logbook import disk, drafts, files
from ohmward.logbook.verify import verify
from ohmward.text import one_line

PROGRAM = "ssh-keygen"
NAMESPACE = "ohmward-journal"
"""What the signature is for: one made for anything else does not count."""
SIGNERS = "signers"
"""File in the logbook of who may sign, in OpenSSH's own form ('ALLOWED SIGNERS' of its manual page)."""

_CHECK_S = 60.0
_KEY = re.compile(r"with (\S+) key (SHA256:\S+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """What checking one signature found."""

    path: Path
    good: bool
    """It was made with this key over these very bytes."""
    key: str = ""
    """Kind and fingerprint of the key."""
    who: str = ""
    """Whose it is by the file of signers; empty where no such file was given or it does not say."""
    text: str = ""
    """Why it does not hold, or what is not known of it."""


def sign(path: Path, key: Path) -> Path:
    """Sign a closed run; the signature is on the disk beside it when this returns.

    Parameters
    ----------
    path : Path
        The journal.
    key : Path
        A private key of OpenSSH; or the public half of one that an agent or a device holds.

    Returns
    -------
    Path
        Of the signature.

    Raises
    ------
    Refused
        When the run is not closed, or is damaged: its bytes are not what would be vouched for.
    Unreachable
        When the program or the key cannot be used, or the signature cannot be written.
    """
    found = verify(path)
    if not found.closed or not found.intact:
        why = "it is damaged" if not found.intact else "it is not closed: it still changes"
        mend = "'ohmward verify' names the lines" if not found.intact else "Close it first"
        raise Refused("sign", [f"{disk.shown(path)} cannot be signed: {why}"], mend)
    done = _run(["-Y", "sign", "-q", "-f", _plain(key), "-n", NAMESPACE], disk.read_file(path), limit_s=None)
    if done.returncode or b"BEGIN SSH SIGNATURE" not in done.stdout:
        raise Unreachable(f"{disk.shown(key)}: not signed with it: {_said(done)}")
    number = len(files.signatures(path)) + 1
    place = files.signature_path(path, number)
    try:
        drafts.place_new(place, done.stdout)
    except OSError as error:
        raise disk.unreachable(place, "the signature cannot be written", error) from error
    return place


def signatures(path: Path, signers: Path | None = None) -> tuple[Signature, ...]:
    """Check every signature beside a journal.

    Parameters
    ----------
    path : Path
        The journal.
    signers : Path, optional
        Who may sign; without it a signature shows only that the bytes were signed with some key.

    Raises
    ------
    Unreachable
        When the program or a file cannot be used.
    """
    data = disk.read_file(path)
    return tuple(_checked(place, data, signers) for place in files.signatures(path))


def _checked(place: Path, data: bytes, signers: Path | None) -> Signature:
    disk.read_file(place)  # a signature that cannot be read is an error of its own
    told = _plain(place)
    done = _run(["-Y", "check-novalidate", "-n", NAMESPACE, "-s", told], data)
    found = _KEY.search(done.stdout.decode(errors="replace"))
    if done.returncode or found is None:
        return Signature(path=place, good=False, text=_said(done))
    key = f"{found[1]} {found[2]}"
    if signers is None:
        return Signature(path=place, good=True, key=key, text="whose key that is, no file of signers says")
    known = _run(["-Y", "find-principals", "-s", told, "-f", _plain(signers)], b"")
    for who in known.stdout.decode(errors="replace").splitlines() if not known.returncode else ():
        if not _run(
            ["-Y", "verify", "-f", _plain(signers), "-I", who, "-n", NAMESPACE, "-s", told], data
        ).returncode:
            return Signature(path=place, good=True, key=key, who=one_line(who))
    return Signature(
        path=place, good=True, key=key, text=f"the key is not of anyone in {disk.shown(signers)}"
    )


def _run(
    arguments: Sequence[str], data: bytes, limit_s: float | None = _CHECK_S
) -> subprocess.CompletedProcess[bytes]:
    program = shutil.which(PROGRAM)
    if program is None:
        raise Unreachable(
            f"{PROGRAM} is not installed: it makes and checks signatures. It is part of OpenSSH "
            "(package 'openssh-client' on many systems)"
        )
    try:
        return subprocess.run(
            [program, *arguments],
            input=data,
            capture_output=True,
            check=False,
            timeout=limit_s,
            env={**os.environ, "LC_ALL": "C"},
        )
    except subprocess.TimeoutExpired as error:
        raise Unreachable(f"{PROGRAM} gave no answer within {limit_s:.0f} s") from error
    except OSError as error:
        raise Unreachable(f"{PROGRAM} cannot be run ({error.strerror})") from error


def _plain(path: Path) -> str:
    """Return a path that no program takes for an option."""
    return os.path.abspath(path)


def _said(done: subprocess.CompletedProcess[bytes]) -> str:
    said = (done.stderr or done.stdout).decode(errors="replace")
    return one_line(said) or f"{PROGRAM} ended with {done.returncode}"
