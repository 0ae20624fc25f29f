"""Faults of regulator, heat sink, bleeder and output wiring."""

from __future__ import annotations

import msgspec

from ohmward.physics.fault import Fault, on_rail, on_sheet_rail, on_unit
from ohmward.supply.model import Rail

_DISCHARGE = "Switch off, unplug, wait for the discharge, measure the residual voltage, then open."
_DISCONNECT = "Take the load off first: it sees a voltage it was not made for. "


def _no_bleeder(rail: Rail) -> Rail:
    if rail.reservoir is None:
        return rail
    return msgspec.structs.replace(rail, reservoir=msgspec.structs.replace(rail.reservoir, bleeder_ohm=None))


OUTPUT_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="output-joint",
        title="High-resistance joint or wire on the output",
        severity="fault",
        scope="rail",
        moves={"output_v": "down"},
        steady=("no_load.output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="The voltage is right at the regulator or reservoir and low at the terminals, in exact step "
        "with the current.",
        confirm="Leads clipped on while it is off: under load, measure at the reservoir or regulator and at "
        "the terminals. Unplugged and discharged, each joint with a low-ohm meter.",
        alike="Output wiring longer or thinner than it should be reads alike.",
        make_safe=_DISCHARGE,
        change=on_rail(lambda rail, size: {"output_extra_ohm": size}),
        size=0.05,
        sizes=(0.05, 0.1, 0.2),
        size_is="Ω in the output lead",
    ),
    Fault(
        name="thin-output-wire",
        title="Output wire too thin",
        severity="improvement",
        scope="rail",
        moves={"output_v": "down"},
        steady=("no_load.output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="As a bad joint on the output, but spread along the wire, which is warm over its whole length.",
        confirm="Its cross-section against the current; unplugged, its resistance with a low-ohm meter.",
        make_safe=_DISCHARGE,
        change=on_rail(lambda rail, size: {"output_extra_ohm": size}),
        size=0.074,
        size_is="Ω (1 m out and 1 m back of 0.5 mm²)",
    ),
    Fault(
        name="regulator-dropout",
        title="The regulator needs more headroom than it has",
        severity="fault",
        scope="regulated-rail",
        moves={"output_v": "down", "output_ripple_pp_v": "up", "headroom_v": "down"},
        steady=("no_load.output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="At the valleys of the reservoir the pass device is fully on and the ripple comes through as "
        "notches at twice the mains frequency. It vanishes at a higher mains or a lighter load.",
        confirm="Oscilloscope on both sides of the regulator: output notches under the input valleys; gone "
        "at half load.",
        alike="A regulator of another kind, or too low a dropout on the sheet, reads alike.",
        make_safe="No danger in itself. Find out first why: low mains, a tired reservoir, a sagging "
        "transformer.",
        change=on_rail(lambda rail, size: {"dropout_extra_v": size}),
        size=3.0,
        sizes=(1.5, 3.0, 5.0),
        size_is="V more dropout",
    ),
    Fault(
        name="regulator-oscillating",
        title="The regulator oscillates",
        severity="fault",
        scope="regulated-rail",
        moves={
            "no_load.output_v": "unstable",
            "output_v": "unstable",
            "output_ripple_pp_v": "up",
            "dissipation_w": "up",
            "heatsink_c": "up",
        },
        steady=("secondary_no_load_v",),
        what="Kilohertz to megahertz on the output; a multimeter shows a wrong, wandering DC voltage and "
        "the device is hot without load. Capacitors at its pins are missing, distant or dried out.",
        confirm="Oscilloscope at full bandwidth on the output; the reading changes with a hand, a probe, a "
        "load.",
        make_safe=_DISCONNECT + _DISCHARGE,
        change=on_rail(lambda rail, size: {"regulator": "oscillating"}),
    ),
    Fault(
        name="pass-device-shorted",
        title="The pass device is shorted",
        severity="fault",
        scope="regulated-rail",
        moves={
            "no_load.output_v": "up",
            "output_v": "up",
            "output_ripple_pp_v": "up",
            "dissipation_w": "down",
            "heatsink_c": "down",
            "junction_c": "down",
        },
        steady=("no_load.reservoir_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="The output stands at the raw voltage with all its ripple; a crowbar fires or the load is "
        "destroyed. The device stays cold.",
        confirm="Output follows the reservoir. Unplugged and discharged: near nothing "
        "between input and output both ways.",
        make_safe=_DISCONNECT + _DISCHARGE,
        change=on_rail(lambda rail, size: {"regulator": "shorted"}),
    ),
    Fault(
        name="no-minimum-load",
        title="An adjustable regulator lacks its minimum load",
        severity="improvement",
        scope="regulated-rail",
        moves={"no_load.output_v": "up"},
        steady=("output_v", "reservoir_mean_v", "output_ripple_pp_v", "mains_a"),
        what="Its own current has nowhere to go and lifts the unloaded output; right as soon as about 10 "
        "mA flows.",
        confirm="A resistor of 10 mA across the output brings the voltage back.",
        make_safe="No danger in itself, unless what it feeds cannot stand the rise.",
        change=on_rail(lambda rail, size: {"light_load_rise_v": size, "light_load_a": 0.01}),
        size=0.7,
        sizes=(0.3, 0.7, 2.0),
        size_is="V of rise without load",
    ),
    Fault(
        name="reference-drift",
        title="Reference or divider has drifted",
        severity="fault",
        scope="regulated-rail",
        moves={"no_load.output_v": "unstable", "output_v": "unstable"},
        steady=("no_load.reservoir_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="The output is off by the same per cent at every load while everything before it is right.",
        confirm="Reference and divider resistors measured against their marking; raw rail as expected.",
        alike="A set point that was set otherwise, or a wrong voltage on the sheet, reads alike.",
        make_safe=_DISCONNECT + _DISCHARGE,
        change=on_rail(lambda rail, size: {"set_point_factor": size}),
        size=0.95,
        sizes=(0.9, 0.95, 1.05, 1.1),
        size_is="times the set point",
    ),
    Fault(
        name="open-sense",
        title="A sense lead is open or loose",
        severity="fault",
        scope="regulated-rail",
        moves={"no_load.output_v": "up", "output_v": "unstable"},
        steady=("reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="The regulator holds the wrong place: a little high without load, worse with load; without a "
        "protecting resistor it runs up to the raw voltage.",
        confirm="Voltage at the sense terminals against the output terminals; move the leads.",
        make_safe=_DISCONNECT + _DISCHARGE,
        change=on_rail(lambda rail, size: {"set_point_factor": 1 + size, "output_extra_ohm": 0.1}),
        size=0.02,
        size_is="of the set point too high",
    ),
    Fault(
        name="thermal-shutdown",
        title="The regulator shuts down when hot",
        severity="fault",
        scope="regulated-rail",
        moves={},
        what="After minutes at load the output saws between nothing and full, seconds to minutes apart, "
        "with the heat sink above about 90 °C: too much heat, or a bad way out for it.",
        confirm="Right again after cooling; a fan on the heat sink cures it.",
        make_safe="Hot metal: let it cool. Reduce the load or the raw voltage.",
    ),
    Fault(
        name="dry-interface",
        title="Bad thermal contact between device and heat sink",
        severity="fault",
        scope="regulated-rail",
        moves={"junction_c": "up"},
        steady=("output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "output_ripple_pp_v", "mains_a"),
        what="No compound, a loose screw, a second washer: the device is hot while its heat sink is cooler "
        "than usual. One thermometer on the sink alone misleads.",
        confirm="Tab and sink together at the same load: 12 to 30 K apart at 10 W instead of 4 to 6. The "
        "tab may be live: probes put on while it is off.",
        alike="A device that conducts its heat worse than the sheet says reads alike.",
        make_safe="Hot metal: let it cool. " + _DISCHARGE,
        change=on_rail(lambda rail, size: {"interface_extra_kpw": size}),
        size=1.5,
        sizes=(0.8, 1.5, 2.5),
        size_is="K/W more",
    ),
    Fault(
        name="sink-sheds-badly",
        title="The heat sink runs far hotter than its size and its heat should make it",
        severity="fault",
        scope="regulated-rail",
        moves={"heatsink_c": "up", "junction_c": "up"},
        steady=("output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "output_ripple_pp_v", "mains_a"),
        what="Every voltage is right, so the heat is what it should be, and this one sink does not lose it: "
        "fins lying flat, covered or without air past them, vents blocked beside it, a second device on "
        "it, or a poor joint where it is screwed to the case.",
        confirm="Room air, sink and the device's tab together at the same load: all of them up is the air "
        "inside, a tab far above its sink a dry interface. Cold and unplugged: fins upright and free, vents "
        "clear, the sink's marking or size against the sheet.",
        alike="A sink smaller than listed, hotter air around it, or a dry interface where the sensor sits on "
        "the device, reads alike.",
        make_safe="Hot metal: let it cool. " + _DISCHARGE,
        change=on_rail(lambda rail, size: {"sink_factor": size}),
        size=2.0,
        sizes=(1.4, 2.0, 2.8),
        size_is="times the thermal resistance to the air",
    ),
    Fault(
        name="washer-punctured",
        title="The insulating washer under the pass device is missing or punctured",
        severity="fault",
        scope="regulated-rail",
        moves={"output_to_case_ohm": "down"},
        what="The device's tab, at raw or output voltage, touches the earthed case: a blown fuse, or hum "
        "through the case.",
        confirm="Unplugged and discharged: tab to case reads a short where it should be open.",
        make_safe=_DISCHARGE,
    ),
    Fault(
        name="no-ventilation",
        title="Fan dead or vents blocked",
        severity="fault",
        scope="unit",
        moves={"heatsink_c": "up", "junction_c": "up", "surface_c": "up"},
        steady=("no_load.output_v", "output_v", "reservoir_ripple_pp_v"),
        what="Everything inside is hotter by the same amount, slowly.",
        confirm="All sensors rise together; spin the fan, clean the vents.",
        make_safe="Reduce the load; let it cool before opening.",
        change=on_unit(lambda size: {"air_rise_k": size}),
        size=20.0,
        sizes=(10.0, 20.0, 30.0),
        size_is="K more in the air inside",
    ),
    Fault(
        name="bleeder-missing",
        title="The bleeder is missing or open",
        severity="fault",
        scope="rail",
        moves={"discharge_s": "up", "bleeder_ohm": "up", "no_load.reservoir_v": "up"},
        steady=("output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "mains_a"),
        what="The reservoir keeps its charge long after the unit is unplugged: nothing shows until a "
        "screwdriver does.",
        confirm="Voltage a minute after switch-off, unloaded: still above 80 % of the start.",
        alike="A bleeder on the sheet that was never fitted reads alike.",
        make_safe="Discharge it through a resistor of a few hundred ohms, never a bare short, and measure "
        "before touching.",
        change=on_sheet_rail(_no_bleeder),
    ),
    Fault(
        name="bleeder-unlisted",
        title="A bleeder is fitted that the sheet does not have, or a lower one than it says",
        severity="improvement",
        scope="rail",
        moves={"discharge_s": "down", "bleeder_ohm": "down"},
        steady=("output_v", "reservoir_mean_v", "reservoir_ripple_pp_v", "secondary_no_load_v"),
        what="A resistor across the reservoir: the charge is gone sooner than the sheet lets one expect. "
        "Nothing is wrong but the sheet.",
        confirm="Unplugged and discharged: look for the resistor across the reservoir and read its value. If "
        "it is there, put it on the sheet; if there is none, the reservoir itself leaks.",
        alike="A reservoir that leaks reads alike.",
        make_safe="No danger by itself. Measure the residual voltage before touching, as ever.",
        # by its heat, for that sets it apart from a leak: a bleeder of more than a watt is not usual
        change=on_rail(lambda rail, size: {"leak_ohm": rail.nominal_v**2 / size}),
        size=0.06,
        sizes=(0.006, 0.02, 0.06, 0.2, 0.6),
        size_is="W in it at the rail's voltage",
    ),
    Fault(
        name="load-missing",
        title="The load is not connected, or the meter is on the wrong range",
        severity="improvement",
        scope="rail",
        moves={
            "output_v": "up",
            "reservoir_mean_v": "up",
            "reservoir_valley_v": "up",
            "reservoir_ripple_pp_v": "down",
            "secondary_v": "up",
            "headroom_v": "up",
            "dissipation_w": "down",
            "heatsink_c": "down",
            "junction_c": "down",
            "mains_a": "down",
        },
        steady=("no_load.output_v", "no_load.reservoir_v", "secondary_no_load_v"),
        what="Readings too good to be true: loaded equals unloaded, hardly any ripple. A circuit does not "
        "improve by itself.",
        confirm="Ammeter in the load lead; is the load's own supply on?",
        make_safe="No danger; the test has to be done again.",
        change=on_rail(lambda rail, size: {"load_missing": True}),
    ),
)
