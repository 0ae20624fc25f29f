"""Design sheets for hypothesis, drawn from the table of keys: any sheet that a person may write."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

from hypothesis import strategies as st

from ohmward.supply.model import Fuse, Sheet, Supply
from ohmward.supply.schema import BREAKING, CHARACTERISTICS, TABLES, Key

WORDS = st.text(
    st.characters(exclude_categories=("Cs", "Zl", "Zp"), exclude_characters="\n\r.@"), min_size=1, max_size=12
).map(str.strip).filter(bool)  # fmt: skip
"""Names: anything on one line, controls and markup included."""


def value(key: Key) -> st.SearchStrategy[float]:
    low = max(key.low, key.high * 1e-9)
    sizes = st.floats(math.log(low), math.log(key.high)).map(
        lambda exponent: min(max(float(f"{math.exp(exponent):.6g}"), low), key.high)
    )
    zero = st.just(0.0) if key.low <= 0 else st.nothing()
    signed = st.one_of(sizes, sizes.map(lambda size: -size)) if key.sign_free else sizes
    return st.one_of(signed, zero)


FUSES = st.builds(
    Fuse,
    characteristic=st.sampled_from(CHARACTERISTICS),
    rating_a=st.sampled_from([0.032, 0.315, 1.6, 3.15, 10.0]),
    breaking=st.sampled_from([None, *BREAKING]),
)
BANDS = st.tuples(st.floats(-99, 0), st.floats(0, 999)).map(
    lambda band: (round(band[0], 3) + 0.0, round(band[1], 3))
)


def part(table_name: str, /, **fixed: st.SearchStrategy[Any]) -> st.SearchStrategy[Sheet]:
    table = TABLES[table_name]

    @st.composite
    def draw_part(draw: st.DrawFn) -> Sheet:
        filled: dict[str, Any] = {field: draw(strategy) for field, strategy in fixed.items()}
        for key in table.keys:
            if key.fields[0] in filled or not (key.required or draw(st.booleans())):
                continue
            got = draw(plain(key))
            filled |= dict(zip(key.fields, got, strict=True)) if len(key.fields) > 1 else {key.fields[0]: got}
        return table.kind(**filled)

    return draw_part()


@cache
def plain(key: Key) -> st.SearchStrategy[Any]:
    if key.form == "value":
        return value(key)
    if key.form == "part":
        return part(key.part)
    words = st.sampled_from(key.choices) if key.choices else WORDS
    return {
        "fuse": FUSES,
        "band": BANDS,
        "flag": st.booleans(),
        "format": st.just(1),
        "texts": st.lists(WORDS, max_size=3, unique=True).map(tuple),
    }.get(key.form, words)


@st.composite
def supplies(draw: st.DrawFn) -> Supply:
    transformers = []
    for name in draw(st.lists(WORDS, max_size=2, unique=True)):
        names = draw(st.lists(WORDS, min_size=1, max_size=2, unique=True))
        windings = tuple(draw(part("secondary", name=st.just(each))) for each in names)
        transformers.append(draw(part("transformer", name=st.just(name), secondaries=st.just(windings))))
    sources = [
        f"{transformer.name}.{secondary.name}"  # type: ignore[attr-defined]
        for transformer in transformers
        for secondary in transformer.secondaries  # type: ignore[attr-defined]
    ]
    rails = tuple(
        draw(rail(name, sources)) for name in draw(st.lists(WORDS, min_size=1, max_size=3, unique=True))
    )
    whole = part(
        "sheet",
        transformers=st.just(tuple(transformers)),
        rails=st.just(rails),
        note=st.text(st.characters(codec="utf-8"), max_size=30).map(str.strip),
    )
    supply = draw(whole)
    assert isinstance(supply, Supply)
    return supply


@st.composite
def rail(draw: st.DrawFn, name: str, sources: list[str]) -> Sheet:
    source = draw(st.sampled_from([(), *((each,) for each in sources)])) if sources else ()
    nominal = draw(value(next(key for key in TABLES["rail"].keys if key.name == "nominal")))
    set_point = value(next(key for key in TABLES["regulator"].keys if key.name == "set_point"))
    same_sign = set_point.map(lambda size: math.copysign(size, nominal))
    rectifier = part("rectifier", kind=st.sampled_from(["bridge", "half-wave"]))
    return draw(
        part(
            "rail",
            name=st.just(name),
            nominal_v=st.just(nominal),
            sources=st.just(source),
            rectifier=st.one_of(st.none(), rectifier),
            regulator=st.one_of(st.none(), part("regulator", set_point_v=st.one_of(st.none(), same_sign))),
        )
    )
