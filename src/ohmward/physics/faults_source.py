"""Faults of transformer, rectifier and reservoir."""

from __future__ import annotations

from ohmward.physics.fault import Fault, on_primary, on_rail, on_transformer

_DISCHARGE = "Switch off, unplug, wait for the discharge, measure the residual voltage, then open."
_FUSE = "Leave it unplugged. Do not fit a bigger fuse: it is all that stands between this and a fire."

SOURCE_FAULTS: tuple[Fault, ...] = (
    Fault(
        name="open-diode",
        title="One diode, or one half of the winding, is open",
        severity="fault",
        scope="rail",
        moves={
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "reservoir_ripple_pp_v": "up",
            "ripple_at_mains_frequency": "up",
            "headroom_v": "down",
            "surface_c": "up",
        },
        steady=("no_load.output_v", "no_load.reservoir_v", "earth_ohm", "insulation_ohm"),
        what="Only one half-cycle in two charges the reservoir: ripple more than doubles and falls to "
        "mains frequency, and direct current flows in the transformer, which hums and runs hot. A "
        "regulated output may look perfect.",
        confirm="Oscilloscope on the reservoir: one hump a mains cycle. Unplugged and discharged, diode "
        "range across each diode: one reads open both ways.",
        make_safe=_DISCHARGE + " Do not leave it on to see: the winding carries half as much again in heat.",
        change=on_rail(lambda rail, size: {"open_half": True}),
    ),
    Fault(
        name="shorted-diode",
        title="A diode is shorted",
        severity="fault",
        scope="rail",
        moves={},
        what="Each half-cycle shorts the secondary: the fuse blows within milliseconds, or a lamp in "
        "series stays bright.",
        confirm="Unplugged and discharged, diode range across each diode: one reads about 0 V both ways.",
        make_safe=_FUSE,
    ),
    Fault(
        name="diode-high-drop",
        title="One diode drops more than its fellows",
        severity="fault",
        scope="rail",
        moves={
            "reservoir_mean_v": "down",
            "reservoir_ripple_pp_v": "up",
            "ripple_at_mains_frequency": "up",
        },
        steady=("secondary_no_load_v", "winding_ohm"),
        what="A tired diode or a bad joint in its leg: alternate humps are unequal, the bridge is warmer.",
        confirm="Oscilloscope on the reservoir: every other peak is lower. Unplugged and discharged, "
        "compare the drops of the diodes.",
        make_safe=_DISCHARGE,
        change=on_rail(lambda rail, size: {"half_drop_v": size}),
        size=0.8,
        sizes=(0.4, 0.8, 1.6),
        size_is="V dropped in one half-cycle",
    ),
    Fault(
        name="reservoir-dried",
        title="The reservoir has dried out",
        severity="fault",
        scope="rail",
        moves={
            "reservoir_ripple_pp_v": "up",
            "reservoir_valley_v": "down",
            "headroom_v": "down",
            "discharge_s": "down",
        },
        steady=("no_load.output_v", "no_load.reservoir_v", "mains_a", "secondary_no_load_v"),
        what="Capacitance lost with age and heat: ripple grows in proportion while the mean hardly moves "
        "and the frequency stays twice the mains. A regulator behind it falls into dropout at the valleys.",
        confirm="Ripple against the unit's own baseline at the same load; capacitance and ESR on a bridge, "
        "off circuit.",
        alike="A smaller capacitor fitted, or too large a one on the sheet, reads alike.",
        make_safe=_DISCHARGE + " Replace it; a bulged or leaking can must not be run.",
        change=on_rail(lambda rail, size: {"capacitance_factor": size}),
        size=0.5,
        sizes=(0.7, 0.5, 0.3, 0.1),
        size_is="of its capacitance left",
    ),
    Fault(
        name="reservoir-open",
        title="The reservoir is disconnected",
        severity="fault",
        scope="rail",
        moves={
            "no_load.reservoir_v": "down",
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "reservoir_ripple_pp_v": "up",
            "headroom_v": "down",
            "discharge_s": "down",
        },
        steady=("secondary_no_load_v", "winding_ohm"),
        what="Nothing smooths the rectified mains: the mean is about 0.9 of the AC voltage and falls to "
        "nothing twice a cycle.",
        confirm="Unplugged and discharged, resistance from each end of the can to its rail: one is open. A "
        "good capacitor of enough voltage, clipped on the right way round while it is off, brings it back.",
        alike="A reservoir that was never fitted reads alike.",
        make_safe=_DISCHARGE,
        change=on_rail(lambda rail, size: {"capacitance_factor": 0.0}),
    ),
    Fault(
        name="reservoir-esr",
        title="The reservoir's series resistance is high",
        severity="fault",
        scope="rail",
        moves={
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "reservoir_ripple_pp_v": "up",
            "headroom_v": "down",
            "mains_a": "down",
        },
        steady=("no_load.output_v", "no_load.reservoir_v", "secondary_no_load_v"),
        what="Charging current meets resistance inside the capacitor: ripple up and voltage down together, "
        "the can warm, a step at the moment conduction begins. It improves as the can warms up.",
        confirm="Oscilloscope: a step on the edge of each hump. ESR meter off circuit, against a new part.",
        alike="A poor joint in its lead, or a capacitor of another kind, reads alike.",
        make_safe=_DISCHARGE + " Replace it.",
        change=on_rail(lambda rail, size: {"esr_extra_ohm": size}),
        size=0.3,
        sizes=(0.1, 0.3, 0.6),
        size_is="Ω in series with the reservoir",
    ),
    Fault(
        name="reservoir-leaky",
        title="The reservoir leaks",
        severity="fault",
        scope="rail",
        moves={
            "no_load.reservoir_v": "down",
            "reservoir_ripple_pp_v": "up",
            "mains_no_load_a": "up",
            "discharge_s": "down",
            "bleeder_ohm": "down",
        },
        steady=("secondary_no_load_v", "winding_ohm"),
        what="Current through the capacitor itself, more as it warms: mains current without load is high, "
        "the can grows warm with nothing connected. After long storage it may recover by reforming.",
        confirm="Unplugged and discharged: resistance across the reservoir settles well under the bleeder. "
        "A can that is warm without load, by a thermometer.",
        alike="A bleeder that the sheet does not have, or a lower one than it says, reads alike.",
        make_safe=_DISCHARGE
        + " A can that warms up unloaded may burst: cover it, reform it through a resistor or "
        "replace it.",
        change=on_rail(
            lambda rail, size: {"leak_ohm": abs(rail.nominal_v) / (size * rail.rated_current_a)},
        ),
        size=0.1,
        sizes=(0.03, 0.1, 0.3),
        size_is="of the rated current leaking",
    ),
    Fault(
        name="shorted-turns",
        title="Turns of the transformer are shorted",
        severity="danger",
        scope="transformer",
        moves={
            "secondary_no_load_v": "down",
            "no_load.reservoir_v": "down",
            "reservoir_mean_v": "down",
            "mains_no_load_a": "up",
            "mains_a": "up",
            "surface_c": "up",
        },
        steady=("winding_ohm", "primary_ohm", "insulation_ohm"),
        what="A turn that closes on itself takes power with nothing connected: it hums, grows hot "
        "unloaded, and a lamp in series glows with the secondaries off. The resistances look normal.",
        confirm="Unplugged and discharged, take the secondaries off and insulate their ends. Then, case "
        "shut and on the series lamp only: it must stay dark. Magnetising current many times its usual.",
        make_safe="Switch off and unplug at once; it may burn inside before it smells. Replace it.",
        change=on_transformer(
            lambda sheet, size: {
                "ratio_factor": 1 - size,
                "magnetising_factor": 1 + 14.0 * size / 0.05,
                "extra_loss_w": 0.25 * size / 0.05 * (sheet.rating_va or 50.0),
            }
        ),
        size=0.05,
        sizes=(0.02, 0.05, 0.1),
        size_is="of the secondary voltage lost",
    ),
    Fault(
        name="core-bolt-turn",
        title="The fixing bolt of a toroid closes a turn through the case",
        severity="danger",
        scope="transformer",
        moves={
            "secondary_no_load_v": "down",
            "no_load.reservoir_v": "down",
            "reservoir_mean_v": "down",
            "mains_no_load_a": "up",
            "mains_a": "up",
            "surface_c": "up",
        },
        steady=("winding_ohm", "primary_ohm", "insulation_ohm"),
        what="Bolt, lid and chassis make one turn round the core, as a rule when the lid goes on: large "
        "current in the metalwork, bolt too hot to touch, transformer destroyed in minutes.",
        confirm="Unplugged: continuity from the free end of the bolt to the case with the lid in place, none "
        "with it off.",
        make_safe="Switch off and unplug at once. One end of the bolt must stay insulated from the case "
        "for good.",
        change=on_transformer(
            lambda sheet, size: {
                "ratio_factor": 1 - size,
                "magnetising_factor": 1 + 49.0 * size / 0.03,
                "extra_loss_w": 0.6 * size / 0.03 * (sheet.rating_va or 50.0),
            }
        ),
        size=0.03,
        sizes=(0.015, 0.03, 0.06),
        size_is="of the secondary voltage lost",
    ),
    Fault(
        name="transformer-sheds-badly",
        title="The transformer runs far hotter than its rating and its losses should make it",
        severity="fault",
        scope="transformer",
        moves={"surface_c": "up"},
        steady=(
            "secondary_no_load_v",
            "no_load.reservoir_v",
            "mains_no_load_a",
            "winding_ohm",
            "primary_ohm",
        ),
        what="Hot on its outside under load while voltages and its current without load are usual: no turn "
        "is shorted, the heat does not get out. Covered, boxed in, beside a hot part, or vents blocked.",
        confirm="Case shut, without load: mains current as usual and a lamp in series dark, else a turn is "
        "shorted. Cold and unplugged: air round it free, vents clear, its label against the sheet.",
        alike="Hotter air around it, or a sensor on another hot part, reads alike.",
        make_safe="Hot metal: let it cool. " + _DISCHARGE,
        change=on_transformer(lambda sheet, size: {"thermal_factor": size}),
        size=1.8,
        sizes=(1.4, 1.8, 2.4),
        size_is="times its thermal resistance to the air",
    ),
    Fault(
        name="wrong-tap",
        title="The mains is on the wrong tap",
        severity="fault",
        scope="transformer",
        moves={
            "secondary_no_load_v": "down",
            "no_load.reservoir_v": "down",
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "secondary_v": "down",
            "headroom_v": "down",
        },
        steady=("winding_ohm", "earth_ohm", "insulation_ohm"),
        what="Every voltage is off by the same per cent at every load: low on a tap for a higher mains, "
        "high (with a hot, humming core) on one for a lower mains.",
        confirm="Compare the tap in use with the label and the mains; secondary AC without load against "
        "its rating.",
        alike="A wrong primary or secondary voltage on the sheet reads alike.",
        make_safe="Switch off, unplug, move the tap; then the dead tests again.",
        change=on_primary,
        size=240 / 230,
        sizes=(240 / 230, 220 / 230),
        size_is="times the rated primary voltage",
    ),
    Fault(
        name="primaries-in-series",
        title="Two 115 V primaries are in series on a lower mains, or half the primary is unused",
        severity="fault",
        scope="transformer",
        moves={
            "secondary_no_load_v": "down",
            "no_load.reservoir_v": "down",
            "no_load.output_v": "down",
            "output_v": "down",
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "secondary_v": "down",
            "headroom_v": "down",
            "mains_a": "down",
            "mains_no_load_a": "down",
            "primary_ohm": "up",
        },
        steady=("winding_ohm",),
        what="All secondaries give half. The other way round, two in parallel on twice their voltage, "
        "draws a huge current and blows the fuse; in antiphase they are a dead short.",
        confirm="Unplugged: trace both primaries against the label; primary resistance is four times or a "
        "quarter of what it should be.",
        alike="A wrong primary or secondary voltage on the sheet reads alike.",
        make_safe=_FUSE,
        change=on_primary,
        size=2.0,
        size_is="times the rated primary voltage",
    ),
    Fault(
        name="secondaries-antiphase",
        title="Secondary halves oppose each other, or one is missing",
        severity="fault",
        scope="transformer",
        moves={},
        what="Two windings in series in opposite sense cancel: the pair gives nearly nothing.",
        confirm="AC voltage across the pair: the sum of both when right, about nothing when opposed.",
        make_safe=_DISCHARGE,
    ),
    Fault(
        name="undersized-transformer",
        title="The transformer is smaller than it should be",
        severity="fault",
        scope="transformer",
        moves={
            "winding_ohm": "up",
            "primary_ohm": "up",
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "reservoir_ripple_pp_v": "down",
            "secondary_v": "down",
            "headroom_v": "down",
            "surface_c": "up",
            "mains_a": "down",
        },
        steady=("no_load.output_v", "no_load.reservoir_v", "secondary_no_load_v"),
        what="Too much winding resistance for the load: it sags more than it should, ripple even falls, "
        "and the windings run hot at rated current. A mislabelled one may sag normally and still overheat.",
        confirm="Winding resistances against the usual ones of its rating; rise by resistance after a soak.",
        alike="Too low a winding resistance, or too high a rating, on the sheet reads alike.",
        make_safe="Reduce the load until it is replaced; stop above its temperature class.",
        change=on_transformer(lambda sheet, size: {"resistance_factor": size}),
        size=2.0,
        sizes=(1.5, 2.0),
        size_is="times the winding resistance",
    ),
    Fault(
        name="ac-joint",
        title="High-resistance joint between secondary and rectifier",
        severity="fault",
        scope="rail",
        moves={
            "reservoir_mean_v": "down",
            "reservoir_valley_v": "down",
            "reservoir_ripple_pp_v": "down",
            "headroom_v": "down",
            "mains_a": "down",
        },
        steady=("no_load.output_v", "no_load.reservoir_v", "secondary_no_load_v", "winding_ohm"),
        what="A loose or browned connector, a poor fuse-holder: nothing without load, then a drop in step "
        "with the load while ripple falls. The joint itself gets hot.",
        confirm="Unplugged and discharged: each joint with a low-ohm meter; a discoloured or loose "
        "connector.",
        alike="Long or thin wiring there, or a fuse of higher resistance, reads alike.",
        make_safe=_DISCHARGE + " Remake the joint; heat at a connector is how fires start.",
        change=on_rail(lambda rail, size: {"ac_extra_ohm": size}),
        size=0.2,
        sizes=(0.1, 0.2, 0.5),
        size_is="Ω in the secondary circuit",
    ),
)
