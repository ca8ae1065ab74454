"""The part of the sample's job file that stands before its boards."""

JOB_HEAD = """\
# A hall cupboard in ash for the passage: two doors with arched tops, two sides, each an upper and a lower panel.
# Boards A to F lean by the bandsaw, foot chalked on the left. All lengths as read off the tape or the caliper.

grainplan = 1
title = "Hall cupboard in ash"
units = "in"

[wood]
species = "white ash"
moisture = 7.5                  # meter, middle of the stack, after three weeks in the shop

[climate]                       # a passage with an outside door: dry in January, close in August
driest = { temperature = "66 F", humidity = 30 }
dampest = { temperature = "76 F", humidity = 62 }

[shop]
kerf = "1/16 in"                # test cut in scrap, three times
saw_height = "11 in"
saw_tolerance = "1/64 in"
planing = "1/32 in"
outer_planing = "1/32 in"       # the boards are rough, but only just
edge_waste = "0 in"
rip = "1/8 in"
joint = "1/16 in"
crosscut = "1/8 in"
end_waste = "1 in"              # all ends sealed, no checks seen beyond half an inch
over_length = "1/4 in"
over_width = "1/4 in"
shortest_planed = "12 in"
thinnest_planed = "1/4 in"

[frame]
stile = "2 1/4 in"
top_rail = "2 3/4 in"
bottom_rail = "3 1/4 in"

[panel]
thickness = "1/4 in"
groove = "3/8 in"
end_gap = "1/16 in"
float = "auto"
strips = 2
match = "book"
rail_grain = "skip"
true_side = "front"

[[bay]]
name = "left door"
view = "front"
width = "12 1/4 in"
upper = "14 3/4 in"             # to the crown
lower = "28 1/2 in"
rail = "2 1/4 in"
arch = "1 1/8 in"
alike = "doors"
seen = "front"
matters = 2

[[bay]]
name = "right door"
view = "front"
width = "12 1/4 in"
upper = "14 3/4 in"
lower = "28 1/2 in"
rail = "2 1/4 in"
arch = "1 1/8 in"
alike = "doors"
seen = "front"
matters = 2

[[bay]]
name = "left side"
view = "left side"
width = "11 in"
upper = "14 3/4 in"
lower = "28 1/2 in"
rail = "2 1/4 in"
seen = "front"

[[bay]]
name = "right side"
view = "right side"
width = "11 in"
upper = "14 3/4 in"
lower = "28 1/2 in"
rail = "2 1/4 in"
seen = "front"
"""

SAPWOOD_OF_D = """\
[[board.flaw]]
kind = "sapwood"
on = "through"                  # rather at an outer edge than in the middle of a panel
from = ["0 in", "5 5/8 in"]
to   = ["71 1/4 in", "7 1/4 in"]
avoid = false"""
