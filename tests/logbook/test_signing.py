"""Detached signatures with a key of OpenSSH: what they show, and what they do not."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from ohmward.errors import Refused, Unreachable
from ohmward.logbook import files, signing, verify
from ohmward.logbook.signing import sign, signatures
from support.journals import begin, closing, some_events
from support.machine import tool


@pytest.fixture(autouse=True)
def _open_ssh() -> None:
    tool("ssh-keygen")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with begin(tmp_path, *some_events()) as journal:
        journal.append(closing(journal))
        return journal.path


def new_key(folder: Path, name: str) -> Path:
    key = folder / name
    subprocess.run(
        ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", name, "-f", str(key)], check=True, timeout=60
    )
    return key


def signers(folder: Path, **people: Path) -> Path:
    lines = [f"{who} {key.with_suffix('.pub').read_text(encoding='utf-8')}" for who, key in people.items()]
    (folder / "signers").write_text("".join(lines), encoding="utf-8")
    return folder / "signers"


def test_a_closed_run_is_signed_and_the_signature_is_checked_by_whose_key(tmp_path: Path, path: Path) -> None:
    before = path.read_bytes()
    key = new_key(tmp_path, "a")
    assert sign(path, key) == files.signature_path(path, 1)
    assert path.read_bytes() == before
    (one,) = signatures(path, signers(tmp_path, bench_a=key))
    assert (one.good, one.who, one.key[:15]) == (True, "bench_a", "ED25519 SHA256:")
    assert verify(path).intact


def test_anyone_can_check_it_with_openssh_alone(tmp_path: Path, path: Path) -> None:
    """The command that the module gives."""
    key = new_key(tmp_path, "a")
    place = sign(path, key)
    command = ["ssh-keygen", "-Y", "verify", "-f", str(signers(tmp_path, bench_a=key)), "-I", "bench_a"]
    command += ["-n", "ohmward-journal", "-s", str(place)]
    subprocess.run(command, input=path.read_bytes(), check=True, timeout=60, capture_output=True)


def test_without_a_file_of_signers_it_is_only_some_key(tmp_path: Path, path: Path) -> None:
    key = new_key(tmp_path, "a")
    sign(path, key)
    (one,) = signatures(path)
    assert (one.good, one.who) == (True, "")
    assert "no file of signers says" in one.text
    (other,) = signatures(path, signers(tmp_path, bench_b=new_key(tmp_path, "b")))
    assert (other.good, other.who) == (True, "")
    assert "the key is not of anyone in" in other.text


def test_two_people_sign_one_run(tmp_path: Path, path: Path) -> None:
    keys = {"bench_a": new_key(tmp_path, "a"), "bench_b": new_key(tmp_path, "b")}
    for key in keys.values():
        sign(path, key)
    found = signatures(path, signers(tmp_path, **keys))
    assert [(each.path.suffix, each.who) for each in found] == [(".sig-1", "bench_a"), (".sig-2", "bench_b")]


def test_a_changed_journal_or_signature_does_not_hold(tmp_path: Path, path: Path) -> None:
    key = new_key(tmp_path, "a")
    place = sign(path, key)
    known = signers(tmp_path, bench_a=key)
    whole, made = path.read_bytes(), place.read_bytes()
    for journal, signature in (
        (whole + b"\n", made), (whole.replace(b"12.04", b"12.05"), made), (whole, made[:-40]),
        (whole, b"nothing of the kind\n"), (whole, made.replace(b"A", b"B")),
    ):  # fmt: skip
        path.write_bytes(journal)
        place.write_bytes(signature)
        (one,) = signatures(path, known)
        assert not one.good
        assert one.who == ""
        assert one.text


def test_a_signature_made_for_another_purpose_does_not_count(tmp_path: Path, path: Path) -> None:
    key = new_key(tmp_path, "a")
    command = ["ssh-keygen", "-Y", "sign", "-q", "-f", str(key), "-n", "file"]
    done = subprocess.run(command, input=path.read_bytes(), check=True, timeout=60, capture_output=True)
    files.signature_path(path, 1).write_bytes(done.stdout)
    (one,) = signatures(path, signers(tmp_path, bench_a=key))
    assert not one.good


def test_an_open_or_damaged_run_is_not_signed(tmp_path: Path, path: Path) -> None:
    key = new_key(tmp_path, "a")
    with begin(tmp_path, tag="CR-11") as journal:
        still_open = journal.path
    with pytest.raises(Refused, match=r"not closed: it still changes.*Close it first"):
        sign(still_open, key)
    path.write_bytes(path.read_bytes().replace(b"12.04", b"12.05"))
    with pytest.raises(Refused, match="it is damaged"):
        sign(path, key)
    assert files.signatures(path) == ()


def test_a_key_that_is_none_and_a_program_that_is_missing_are_told_of(
    tmp_path: Path, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("absent", "-rf", "text"):
        (tmp_path / "text").write_text("no key\n", encoding="utf-8")
        monkeypatch.chdir(tmp_path)
        with pytest.raises(Unreachable, match="not signed with it"):
            sign(path, Path(name))
    assert files.signatures(path) == ()
    monkeypatch.setattr(signing, "PROGRAM", "no-such-program")
    with pytest.raises(Unreachable, match=r"not installed.*OpenSSH"):
        sign(path, tmp_path / "text")


def test_no_signature_is_no_signature(path: Path) -> None:
    assert signatures(path) == ()
