"""Waveforms from CSV files in the layouts that oscilloscopes save, and the layout that they are kept in.

The layouts are common practice, no source: headings with units, a line of units, text above, decimal commas.
"""

from __future__ import annotations

import math
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.bench.capture import from_block, from_csv, take
from ohmward.bench.conversation import Block
from ohmward.bench.inventory import Inventory
from ohmward.bench.meters import is_simulated, loads
from ohmward.bench.simulated.bench import SimulatedBench
from ohmward.bench.waveform import Waveform, decoded, encoded
from ohmward.errors import InputError, Unreachable
from ohmward.shipped import folder
from ohmward.supply import load as load_supply
from support.scpi import Instrument, Server

LAYOUTS = {
    "plain": "time_s,value_v\n0,0.5\n0.001,1.5\n0.002,-0.5\n",
    "heading with units": "Time (ms),CH1 (mV)\n0,500\n1,1500\n2,-500\n",
    "square brackets": "Time [ms];CH1 [mV]\n0;500\n1;1500\n2;-500\n",
    "a line of units": "Time,Channel A\n(ms),(mV)\n\n0.0,500\n1.0,1500\n2.0,-500\n",
    "decimal commas": "Zeit (s);Kanal (V)\n0,000;0,5\n0,001;1,5\n0,002;-0,5\n",
    "tabs": "time\tvolts\n0\t0.5\n0.001\t1.5\n0.002\t-0.5\n",
    "text above": "Model,Example\nInterval,0.001\nLength,3\n\ns,V\n0,0.5\n1e-3,1.5\n2e-3,-0.5\n",
    "no heading": "0,0.5\n0.001,1.5\n0.002,-0.5\n",
    "trailing separators and carriage returns": "t,v,\r\n0,0.5,\r\n0.001,1.5,\r\n0.002,-0.5,\r\n",
    "a byte order mark": "\ufefftime,v\n0,0.5\n0.001,1.5\n0.002,-0.5\n",
}


def written(folder: Path, text: str) -> Path:
    path = folder / "scope.csv"
    path.write_text(text, encoding="utf-8", newline="")
    return path


@pytest.mark.parametrize("layout", LAYOUTS)
def test_layouts_that_are_found_out(layout: str, tmp_path: Path) -> None:
    found = from_csv(written(tmp_path, LAYOUTS[layout]))
    assert found.values == pytest.approx((0.5, 1.5, -0.5))
    assert found.interval_s == pytest.approx(1e-3)
    assert (found.start_s, found.unit) == (0.0, "V")


def test_of_several_columns_one_is_chosen_never_guessed(tmp_path: Path) -> None:
    path = written(tmp_path, "time (s),A,B\n0,1,10\n1,3,30\n2,1,20\n")
    with pytest.raises(InputError, match="1 'time \\(s\\)', 2 'A', 3 'B'"):
        from_csv(path)
    assert from_csv(path, column="b").values == (10, 30, 20)
    assert from_csv(path, column=2, scale=10.0).values == (10, 30, 10)
    with pytest.raises(InputError, match="no such column"):
        from_csv(path, column=4)


def test_a_column_that_numbers_the_samples_is_not_taken_for_time(tmp_path: Path) -> None:
    path = written(tmp_path, "sample,V\n0,5\n1,7\n2,6\n")
    with pytest.raises(InputError, match="Give the interval"):
        from_csv(path)
    found = from_csv(path, interval_s=1e-4)
    assert (found.values, found.interval_s) == ((5, 7, 6), 1e-4)
    both = written(tmp_path, "sample,time (ms),V\n0,0,5\n1,2,7\n2,4,6\n")
    assert from_csv(both).interval_s == pytest.approx(2e-3)


def test_without_a_time_column_the_interval_is_asked_for(tmp_path: Path) -> None:
    path = written(tmp_path, "CH1 (V)\n1\n3\n2\n")
    with pytest.raises(InputError, match="Give the interval"):
        from_csv(path)
    assert from_csv(path, interval_s=1e-4).interval_s == 1e-4


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no table of numbers"),
        ("hello\nworld\n", "no table of numbers"),
        ("t,v\n0,1\n1,2\n2,x\n3,1\n4,1\n", "stop in the middle"),
        ("t,v\n0,1\n1,1\n5,2\n", "no column is a time"),
    ],
)
def test_files_that_hold_no_waveform(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=words):
        from_csv(written(tmp_path, text))
    with pytest.raises(Unreachable):
        from_csv(tmp_path / "none.csv")


def test_what_is_kept_says_where_it_is_from_on_one_line() -> None:
    wave = from_block(Block(values=(0.5, 1.5, -0.5), unit="V", interval_s=1e-3), "scope,\nUSB")
    assert encoded(wave).decode() == '"# scope, USB"\ntime_s,value_v\n0.0,0.5\n0.001,1.5\n0.002,-0.5\n'


@pytest.mark.parametrize(
    ("values", "interval_s", "words"),
    [
        ((1.0,), 1e-3, "fewer than two"),
        ((1.0, math.nan), 1e-3, "sample 2 is not a finite"),
        ((1.0, math.inf), 1e-3, "sample 2 is not a finite"),
        ((1.0, 2.0), 0.0, "no time between"),
        ((1.0, 2.0), math.nan, "no time between"),
    ],
)
def test_what_is_no_waveform_is_not_kept(values: tuple[float, ...], interval_s: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        encoded(Waveform(values=values, unit="V", interval_s=interval_s, source="scope"))


@pytest.mark.parametrize("data", [b"a\nt,v\n0,x\n", b"a\nt,v\n0\n", b"a\nt,v\n0,nan\n", b"a\nt,v\n0,1\n2\n"])
def test_a_kept_file_that_is_laid_out_otherwise_is_refused(data: bytes) -> None:
    with pytest.raises(InputError, match=r"x\.csv"):
        decoded(data, "x.csv")


@given(
    st.lists(st.floats(-1e300, 1e300), min_size=2, max_size=30), st.floats(1e-9, 1.0), st.floats(-10.0, 10.0)
)
def test_what_is_kept_is_read_back_to_the_last_bit(
    tmp_path_factory: pytest.TempPathFactory, values: list[float], interval_s: float, start_s: float
) -> None:
    start_s = round(start_s / interval_s % 100) * interval_s  # times that a float can tell apart
    wave = Waveform(values=tuple(values), unit="V", interval_s=interval_s, start_s=start_s, source="x")
    data = encoded(wave)
    assert tuple(decoded(data, "x")) == tuple(values)
    path = tmp_path_factory.mktemp("wave") / "w.csv"
    path.write_bytes(data)
    if len(values) > 2:  # a table has three lines at least
        back = from_csv(path, column="value_v", time_column="time_s")
        assert back.values == tuple(values)
        assert back.interval_s == pytest.approx(interval_s, rel=1e-6)


def test_a_waveform_from_the_simulated_digitiser_over_a_socket() -> None:
    bench = SimulatedBench(load_supply(folder("demo") / "CR-07.toml"), speed=1.0)
    with bench, Inventory(bench.meters) as inventory:
        found = take(inventory, "scope")
        with pytest.raises(InputError, match="hands over no waveform"):
            take(inventory, "multimeter")
        with pytest.raises(InputError, match="no meter has that name"):
            take(inventory, "nobody")
    assert len(found.waveform.values) == 5000
    assert found.waveform.unit == "V"
    assert is_simulated(found.identity)
    assert found.identity in found.waveform.source


def test_a_waveform_is_of_the_channel_of_its_entry_whichever_was_asked_first() -> None:
    block = "#18" + struct.pack(">2f", 1.5, -2.25).decode("latin-1")
    with Server(Instrument(fixed={"FETC:ARR:VOLT?": block, "SENS:SWE:TINT?": "1E-3"})) as server:
        entry = '[[meter]]\nname = "scope {0}"\nkind = "oscilloscope"\nresource = "{1}"\nchannel = "{0}"\n'
        with Inventory(loads("".join(entry.format(each, server.tcp) for each in (1, 2)))) as inventory:
            assert take(inventory, "scope 1").waveform.values == (1.5, -2.25)
            assert take(inventory, "scope 2").meter == "scope 2"
        asked = [line for line in server.instrument.asked if line.startswith("CONF:ARR")]
    assert asked == ["CONF:ARR:VOLT 5000,(@1)", "CONF:ARR:VOLT 5000,(@2)"]
