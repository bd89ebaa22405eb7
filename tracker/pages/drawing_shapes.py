"""The trike seen from above, as outlines: a tadpole, two wheels in front, in centimetres. Drawn by us for this desk.

x runs to the rider's right from the middle, y to the rear from the pedal axle. Sizes are those of no particular machine.
Each position has a body (takes the state), details over it, and the point its line leads to, on the side of its label.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Outline:
    """One position in the drawing.

    is_line: its body is a line and cannot be filled; is_links: drawn as a chain; is_open: what lies below shines through;
    is_always: no trike is without it, whether its serial is kept or not.
    """

    body: str
    details: str = ""
    at: tuple[float, float] = (0.0, 0.0)
    side: str = "left"
    is_line: bool = False
    is_open: bool = False
    is_links: bool = False
    is_always: bool = False


def rect(x: float, y: float, width: float, height: float, round_: float = 0.0) -> str:
    """Return the path of a rectangle from its front left corner, its corners rounded."""
    r = min(round_, width / 2, height / 2)
    if not r:
        return f"M{x:g} {y:g}h{width:g}v{height:g}h{-width:g}z"
    w, h = round(width - 2 * r, 3), round(height - 2 * r, 3)
    turn = f"a{r:g} {r:g} 0 0 1"
    right = f"h{w:g}{turn} {r:g} {r:g}v{h:g}{turn} {-r:g} {r:g}"
    return f"M{x + r:g} {y:g}{right}h{-w:g}{turn} {-r:g} {-r:g}v{-h:g}{turn} {r:g} {-r:g}z"


def disc(x: float, y: float, r: float) -> str:
    """Return the path of a circle."""
    return f"M{x - r:g} {y:g}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0z"


def box(x: float, width: float, y: float, height: float, round_: float = 0.0) -> str:
    """Return the path of a rectangle around `x`, from `y` on."""
    return rect(round(x - width / 2, 3), y, width, height, round_)


def bars(x: float, width: float, ys: tuple[float, ...]) -> str:
    """Return strokes across, around `x`."""
    return "".join(f"M{x - width / 2:g} {y:g}h{width:g}" for y in ys)


def _front(side: int) -> dict[str, Outline]:
    """One front wheel with all that hangs on it; side: -1 left, 1 right."""
    name, wheel, rotor = ("left", "right")[side > 0], 39 * side, 34.4 * side
    spokes = tuple(y for y in (40.0, 45.0, 50.0, 64.0, 69.0, 74.0))
    return {
        f"tyre-{name}": Outline(box(wheel, 5.6, 33, 48, 2.8), bars(wheel, 5.6, (37.5, 76.5)), (wheel + side, 36), name,
                                 is_always=True),
        f"wheel-{name}": Outline(
            box(wheel, 2.6, 38, 38, 1.3), f"M{wheel - 6 * side:g} 57h{9.4 * side:g}{disc(wheel, 57, 1.9)}"
            + bars(wheel, 2.6, spokes), (wheel, 46), name, is_always=True,
        ),
        f"elastomer-{name}": Outline(
            box(23.5 * side, 5.4, 51.5, 9.6, 1.4), bars(23.5 * side, 5.4, (53.9, 56.3, 58.7)), (23.5 * side, 55), name
        ),
        f"kingpin-{name}": Outline(disc(30.4 * side, 57, 2.5), disc(30.4 * side, 57, 0.8), (30.4 * side, 57), name,
                                    is_always=True),
        f"rotor-{name}": Outline(box(rotor, 1.3, 48.4, 17.2, 0.6), "", (rotor, 61.5), name, is_always=True),
        f"brake-{name}": Outline(
            box(rotor, 5, 64, 7.2, 1.3), bars(rotor, 5, (66.2,)) + f"M{rotor:g} 66.2v5", (rotor, 69), name
        ),
    }  # fmt: skip


_SEAT = (
    "M-13.5 84C-17.6 84-18 87-17.6 92C-17.1 99-16.4 103-17.8 111C-19.3 120-19.4 127-16.6 133C-14.8 136.6-9 138 0 138"
    "C9 138 14.8 136.6 16.6 133C19.4 127 19.3 120 17.8 111C16.4 103 17.1 99 17.6 92C18 87 17.6 84 13.5 84Z"
)
_CROSS = "M-29 54.6L-3 57.4V9H3V57.4L29 54.6V58.9L2.6 62V134.8H9V138.4H8.6L9.8 183H7.2L6.6 138.4H-6.6L-7.2 183H-9.8"
_FRAME = _CROSS + "L-8.6 138.4H-9V134.8H-2.6V62L-29 58.9Z" + rect(-8, 156.2, 16, 2.6, 1)

# In the order they lie above each other, lowest first.
OUTLINES: dict[str, Outline] = {
    "chain": Outline("M4.9-8V176M6.3-8V176", "", (5.6, 30), "right", is_line=True, is_links=True),
    "tie-rod": Outline(
        "M-27 68.5H27", disc(-27, 68.5, 1.4) + disc(27, 68.5, 1.4), (14, 68.5), "right", is_line=True, is_always=True
    ),
    "frame": Outline(_FRAME, "M-2.6 62V134M2.6 62V134M-3 20H3", (0, 44), "left"),
    **_front(-1),
    **_front(1),
    "boom-motor": Outline(
        rect(-4.4, -7.5, 8.8, 17, 4), disc(0, 0, 2.4) + "M-3.4 4.4H3.4M-3.4 6.2H3.4", (-2.6, 2.6), "left"
    ),
    "lights": Outline(
        rect(-8.2, 25, 4.4, 6, 2) + rect(-3.2, 215.4, 6.4, 2.6, 1.2), "M-8.2 27.6H-3.8M-3.8 29H-3", (-6, 28.6), "left"
    ),
    "display": Outline(rect(6, 39.6, 9.6, 7, 1.2), rect(7.2, 40.8, 7.2, 3.6, 0.4) + "M3 46.6L7.5 46.6", (13, 45), "right"),
    "hinge": Outline(
        rect(-5.2, 73.4, 10.4, 2.8, 0.7) + rect(-5.2, 77, 10.4, 2.8, 0.7), disc(-6.8, 76.6, 1.6), (-3, 75), "left"
    ),
    "idler": Outline(box(5.6, 3, 72, 9.4, 1.5), "M5.6 73.4v6.6", (5.6, 79), "right", is_always=True),
    "kickstand": Outline(
        "M-3 64.4L-14.4 76.8", disc(-3.2, 64.6, 1.3) + "M-16.6 75.6L-12.4 78.6", (-12, 74.2), "left", is_line=True
    ),
    "tyre-rear": Outline(box(0, 6, 160, 46, 3), bars(0, 6, (164.5, 201.5)), (1.6, 203.4), "right", is_always=True),
    "wheel-rear": Outline(box(0, 2.8, 165, 36, 1.4), bars(0, 2.8, (169, 173, 193, 197)), (-0.4, 195), "left",
                          is_always=True),
    "rear-hub": Outline(
        box(0, 11, 178.6, 8.8, 2.6), "M-12 183H12M-3.6 177.6V188.4M3.6 177.6V188.4" + box(6.2, 0.8, 177.4, 11.2, 0.3),
        (2, 183), "right",
    ),
    "brake-rear": Outline(rect(-7, 169.6, 4.2, 6.8, 1.2), "M-7 171.8h4.2", (-5, 174), "left"),
    "torque-arm": Outline(rect(-13, 170.4, 2.6, 14.4, 1.3), disc(-11.7, 172, 0.6), (-11.7, 179), "left"),
    "speed-sensor": Outline(rect(10.4, 168.4, 3.4, 5, 1), "M12.1 168.4V160.4", (12.1, 171), "right"),
    "rear-shock": Outline(
        box(0, 6, 141.4, 9.4, 1.6) + box(0, 2.2, 150.8, 4.6, 0.4),
        disc(0, 139.8, 1.5) + disc(0, 156.6, 1.5) + bars(0, 6, (143.4, 148.8)), (1.6, 146), "right",
    ),
    "battery": Outline(
        rect(-22.4, 141, 10, 25, 2), "M-22.4 145.4h10M-22.4 162h10M-19.4 151h4v5.4h-4zM-12.4 148H-8.4M-12.4 158H-8.2",
        (-19.6, 158), "left",
    ),
    "castors": Outline(disc(13.4, 146, 2.2) + disc(13.4, 152.4, 2.2), "M8.2 149.2H13.4V146M13.4 149.2V152.4",
                       (14, 152.4), "right"),
    "rack": Outline("M-8.2 187V212.4q0 2 2 2H6.2q2 0 2-2V187M-8.2 195H8.2M-8.2 203.6H8.2", "", (8.2, 209), "right",
                    is_line=True),
    "seat": Outline(_SEAT, "M-17 108C-9 111.4 9 111.4 17 108", (-12, 118), "left", is_open=True),
    "headrest": Outline(rect(-8, 131.4, 16, 6.6, 3), "M-5 134.7h10", (-5, 134.6), "left"),
    "shifter": Outline(rect(24.9, 104.6, 5.4, 6.6, 1.6), "M24.9 107.4h5.4", (27.6, 109), "right", is_always=True),
    "charger": Outline(rect(21, 188, 13, 8.6, 1.6), "M27.5 196.6c0 7-9 3-9 9v2.4M16.6 208h3.8v4h-3.8z", (31, 193), "right"),
}  # fmt: skip

# What carries no serial, beneath everything: cranks and pedals, chainring, steering arms, handlebars and grips.
STILL = (
    "M-7 0H7M-7 0L-8.4-17M7 0L8.4 17M-27 68.5L-30.4 57M27 68.5L30.4 57M-9 100L-24 97.6Q-27.6 97-27.6 93.4"
    "M9 100L24 97.6Q27.6 97 27.6 93.4"
)
STILL_BODIES = (
    rect(-19.6, -21, 11, 8, 1.6) + rect(8.6, 13, 11, 8, 1.6) + box(4.6, 1, -9.5, 19, 0.4)
    + box(-27.6, 4, 88, 16, 2) + box(27.6, 4, 88, 16, 2)
)  # fmt: skip
HIDDEN = "M-2.6 84V134.8M2.6 84V134.8M-9 134.8H9"  # edges under the seat, dashed as in any drawing
AXES = "M0-26V222M-46 57H46M-16 183H16"
TOP, BOTTOM = -26.0, 222.0
