"""Rules of the weld plan: thin sheet, butt welded.  Each says where it is from.

**Filler.**  A bead of width w and height h over a gap g in sheet t has the
throat area A = g t + w h; a length L of it deposits A L ρ, of wire
A L ρ / η with η the share of the wire that stays in the seam.

**Across the seam** it shrinks by 0.10 A / t (Blodgett) at least and by
0.2 A / t + 0.05 g (Spraragen and Ettinger) at most, g the root gap.  Both are
from plate, so they are the ends of a range here.

**Along the seam** it shortens by a share of its length.

**Crown.**  An arc of chord c and crown h on a circle has R = (c² + 4 h²) / 8 h
and length s = 2 R asin(c / 2R).  If the frame holds the ends apart and the
arc loses δ, the new crown is that of length s − δ on the chord c; where
s − δ < c there is none left and the sheet is drawn tight.  If the ends come
together by δ and the arc keeps its length, it is that of s on c − δ.  For a
low crown both are −/+ 3 c δ / 16 h: the lower the crown, the more it moves.
"""

from __future__ import annotations

from math import asin, sqrt

from scipy.optimize import brentq

from .gauges import STEEL_KG_M3
from .weldreport import Range, WeldRule

TACK_PITCH_MM = (25.0, 40.0)  # at the two thicknesses below
TACK_SHEET_MM = (0.9, 1.2)
BEAD_WIDTH_MM = (3.0, 5.0)
BEAD_HEIGHT_MM = (0.3, 0.8)
KEPT = (0.93, 0.98)  # of the wire
WIRE_MM = 0.8
TRAVEL_MM_MIN = (75.0, 500.0)  # slow: TIG by hand; fast: MAG
ARC_SHARE = (0.10, 0.30)  # of the hours in which the arc burns
SHORTENS = (0.25e-3, 1.0e-3)  # of its length
CHORD_MM = 304.8
LOW_CROWN_MM = 6.35  # over that chord
HAND_MM = 25.4  # beside a post's box within which no dolly gets behind the sheet

RULES = (
    WeldRule(
        what="tack pitch, also the longest stretch",
        rule="25 mm up to 0.9 mm sheet, 40 mm from 1.2 mm, evenly between; ends first, then halved",
        source="shop rule, from memory, no standard",
    ),
    WeldRule(
        what="order of stretches",
        rule="from the middle out, every fourth stretch, none next to the one just welded",
        source="common practice, no source",
    ),
    WeldRule(
        what="bead",
        rule="3 to 5 mm wide, 0.3 to 0.8 mm over the sheet, before grinding; throat gap × sheet + bead",
        source="assumed",
    ),
    WeldRule(
        what="filler",
        rule=f"throat × length × {STEEL_KG_M3:.0f} kg/m³; 93 to 98 % of the wire stays in the seam",
        source="solid wire under gas, from memory (a welding handbook)",
    ),
    WeldRule(
        what="travel while the arc burns",
        rule="75 mm/min (TIG by hand) to 500 mm/min (MAG, 0.8 to 1.2 mm sheet)",
        source="TIG: shop figure, from memory; MAG: 300 to 550 mm/min, a power source's manual",
    ),
    WeldRule(
        what="hours at the car",
        rule="arc time over 0.10 to 0.30: tacking, skipping, cooling; fitting and grinding come on top",
        source="assumed",
    ),
    WeldRule(
        what="shrinkage across",
        rule="0.10 A/t to 0.2 A/t + 0.05 gap",
        source="Blodgett; Spraragen and Ettinger, from memory; both from plate",
    ),
    WeldRule(
        what="shrinkage along",
        rule="0.25 to 1.0 mm per metre",
        source="1 mm/m: butt welds in plate, from memory; the lower end assumed for skip welding",
    ),
    WeldRule(
        what="low crown",
        rule='under 1/4" (6.35 mm) over a 12" (305 mm) straightedge whichever way it is laid; a strip too '
        "narrow to bulge counts as well",
        source="assumed: a radius of 72 in",
    ),
    WeldRule(
        what="access",
        rule="from outside only: a post's box, sheet over it and 1\" (25 mm) beside it, a gutter; "
        "else from both sides with the trim out",
        source="assumed: room for a dolly",
    ),
)


def tack_pitch_mm(sheet_mm: float) -> float:
    """Return how far apart tacks are set on sheet of a thickness. [mm]"""
    (t0, t1), (p0, p1) = TACK_SHEET_MM, TACK_PITCH_MM
    share = min(max((sheet_mm - t0) / (t1 - t0), 0.0), 1.0)
    return p0 + share * (p1 - p0)


def throat_mm2(gap_mm: float, sheet_mm: float, width_mm: float, height_mm: float) -> float:
    """Return the section of a bead. [mm²]"""
    return gap_mm * sheet_mm + width_mm * height_mm


def throats_mm2(gap_mm: Range, sheet_mm: float) -> Range:
    """Return the least and the greatest section of a bead over a range of gaps. [mm²]"""
    return tuple(
        throat_mm2(gap, sheet_mm, width, height)
        for gap, width, height in zip(gap_mm, BEAD_WIDTH_MM, BEAD_HEIGHT_MM, strict=True)
    )


def deposit_g(throat_mm2: float, length_mm: float) -> float:
    """Return what a bead weighs. [g]"""
    return throat_mm2 * length_mm * STEEL_KG_M3 * 1e-6


def wire_m(mass_g: float, wire_mm: float) -> float:
    """Return the length of steel wire of a mass. [m]"""
    return mass_g / (STEEL_KG_M3 * 1e-6) / (3.141592653589793 * wire_mm**2 / 4) / 1000


def shrink_across_mm(throats: Range, sheet_mm: float, root_gap_mm: float) -> Range:
    """Return how far a seam shrinks across itself. [mm]"""
    return 0.10 * throats[0] / sheet_mm, 0.2 * throats[1] / sheet_mm + 0.05 * root_gap_mm


def arc_length_mm(chord_mm: float, crown_mm: float) -> float:
    """Return the length of an arc of a circle, at most a half one. [mm]"""
    if crown_mm == 0:
        return chord_mm
    radius = (chord_mm**2 + 4 * crown_mm**2) / (8 * crown_mm)
    return 2 * radius * asin(min(chord_mm / (2 * radius), 1.0))


def crown_of_arc_mm(chord_mm: float, length_mm: float) -> float:
    """Return the crown of an arc of a circle by its chord and length; 0 where it is drawn tight. [mm]"""
    if length_mm <= chord_mm:
        return 0.0
    most = chord_mm / 2  # a half circle
    if arc_length_mm(chord_mm, most) < length_mm:
        return most
    return brentq(lambda h: arc_length_mm(chord_mm, h) - length_mm, sqrt(1e-18), most, xtol=1e-10)


def crown_lost_mm(chord_mm: float, crown_mm: float, shorter_mm: float) -> float:
    """Return how far a crown falls when the arc loses a length and its ends are held. [mm]"""
    return crown_mm - crown_of_arc_mm(chord_mm, arc_length_mm(chord_mm, crown_mm) - shorter_mm)


def crown_gained_mm(chord_mm: float, crown_mm: float, nearer_mm: float) -> float:
    """Return how far a crown rises when its ends come nearer and the arc keeps its length. [mm]"""
    return crown_of_arc_mm(chord_mm - nearer_mm, arc_length_mm(chord_mm, crown_mm)) - crown_mm
