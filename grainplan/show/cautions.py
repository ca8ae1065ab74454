"""The usual cautions, in plain words, at the step where they are needed. The machine's manual comes first, always.

They rest on what regulators and machine manuals ask for: HSE WIS31 (band saws), OSHA 29 CFR 1910.213 (ripping), makers'
manuals (crosscutting, planing, jointing), HSE and OSHA on wood dust. Where shops do it by habit it says so.
"""

from __future__ import annotations

MANUAL = (
    "These are reminders, not instruction: your machine's manual, local rules and your own training come first. "
    "If a cut feels wrong, stop and find another way."
)
RESAW = (
    "Trued edge down on the table, flattened face against the tall fence.",
    "Guard and upper guide just above the work, about 3 mm (1/8 in); only the cutting length of the blade bare.",
    "Push block; hands beside the blade, never in line with the cut or where the blade comes out.",
    "Support long and tall pieces. Stop the saw before you clear off-cuts.",
)
RIP = (
    "Rip only from a true edge, never cupped, twisted or crooked stock. Riving knife in, stand out of line, push stick "
    "for narrow pieces, push right past the blade."
)
CROSSCUT = (
    "Crosscut against a block clamped to the fence ahead of the blade, never with the rip fence as an end stop. "
    "Nothing short, nothing freehand."
)
PLANE = "Plane: nothing below the machine's limits, light cuts, one piece at a time, stand to the side. No loose knots."
JOINT = "Joint: hollow side down, push blocks, no short or thin stock."
SMALL_EDGE = (
    "Tongue: across the ends first, then along the sides, in light cuts; guard and push block, the panel flat on the "
    "table."
)
DUST = (
    "Dust: hardwood dust harms. Extract at the machine, wear a mask when sanding; 3 mg/m³ of hardwood dust over eight "
    "hours is the United Kingdom's limit, and others are lower."
)
GLUE = (
    "Thin leaves: a small bead of glue, cauls above and below, light clamp pressure, or the panel buckles (common "
    "practice).",
    "Leave it clamped as long as the glue's maker says; do not work it until the next day.",
)
NEVER_GLUE_EDGES = (
    "Never glue the long edges into the frame. Pin it, or one dab of glue, at the middle of its top and bottom edge "
    "only, so that it moves evenly to both sides."
)
FINISH_FIRST = "Stain and finish the panel before the frame is glued up: when it shrinks, a bare line would show."
LEAN = (
    "Book-matched leaves lean opposite ways: one half may look darker, and they change places as you walk by. A flat "
    "picture cannot show it."
)
