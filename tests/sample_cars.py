"""A small invented cab in inches, as text: every kind of entry a car file may have."""

TINY_CAR_TOML = """\
# A cab on a bench, measured for the tests only.
schema = 1
name = "tiny cab"
unit = "in"
origin = "cowl, on the centreline, at belt height"
rows = ["belt", "mid", "gutter", "shoulder", "crown"]
gauge = "0.9 mm"
glass = "1/4"
tape = "1/16"
rear_point = { hoop = "rear", row = "crown" }
seat = [30, 14, "-10"]

[[hoop]]
name = "front"
[hoop.right]
belt = [0, "26-1/2", 0]
mid = [5, '25 1/2"', 8]
gutter = [10, 23.5, 16]
shoulder = [10.5, 15, 18]
crown = [11, 0, "18-3/4"]

[[hoop]]
name = "middle"
[hoop.right]
belt = [20, 28, 0]
mid = [20, "26-3/4", 8.5]
gutter = [20, "24-1/2", 17]
shoulder = [20, "15-1/2", 19]
crown = [20, 0, 20]
[hoop.left]
belt = [20, -27.875, 0]
mid = [20, "-26-3/4", 8.5]
gutter = ["20-1/8", "-24-5/8", 17]
shoulder = [20, "-15-1/2", 19]

[[hoop]]
name = "rear"
[hoop.right]
belt = [44, 26, 0]
mid = [42.5, 25, 8]
gutter = [41, 23, 16]
shoulder = [40.5, 15, 18]
crown = [40, 0, 19]

[[panel]]
name = "front"
[panel.right]
belt = { shoulder = [-2, 15, 0], crown = [-3, 0, 0] }
mid = { shoulder = [3, "14-1/2", 9], crown = [2, 0, 9.25] }

[[panel]]
name = "back"
[panel.right]
belt = { shoulder = [46, 14, 0], crown = ["46-1/2", 0, 0] }
mid = { shoulder = [44, 14, 8], crown = [44.5, 0, 8] }

[[opening]]
name = "windshield pane"
role = "windshield"
grid = "front"
view = "front"
side = "right"
corners = [[1, 3, 1], [19, 3, "1-1/2"], [17, 14, 1.5], [1, 15, 1]]

[[opening]]
name = "door glass"
role = "side glass"
grid = "side"
view = "side"
corners = [[9, 2, 1], [36, 2, 2], [35, 13, 2.5], ["12-1/2", 13, 1]]

[[opening]]
name = "rear glass"
role = "rear window"
grid = "back"
view = "rear"
side = "centre"
corners = [[-14, 3, 2], [14, 3, 2], [13, 12, 3], [-13, 12, 3]]

[[post]]
name = "A"
axis = [[1, "25-1/4", 0], [10.5, "22-1/2", 15.5]]
width = 2
depth = "2-1/4"
wall = "1.2 mm"
cut_from = 3
cut_at = 5
cut_to = 13

[[post]]
name = "B"
axis = [[41, 25, 0], [40.5, 24, 8], [39.5, 22, 15.5]]
width = 3
depth = 2
wall = "1.2 mm"
cut_from = 2
cut_at = "4-1/2"
cut_to = 14

[[post]]
name = "divider"
side = "centre"
axis = [[-2, 0, 0], [9, 0, 17]]
width = "1-1/4"
depth = 1.5
wall = "1.2 mm"
cut_from = 2
cut_at = 5
cut_to = 15

[[keep_out]]
name = "driver's head"
shape = "sphere"
at = [30, 14, 6]
radius = 4

[[keep_out]]
name = "roll bar"
shape = "cylinder"
at = [36, -18, 12]
to = [36, 18, 12]
radius = "7/8"

[[keep_out]]
name = "seat back"
shape = "box"
at = [38, 0, -4]
size = [4, 44, 16]
"""

TINY_PLAN_TOML = """\
# Two inches and a quarter off the front, three off the rear.
car = "tiny cab"
name = "forward and pitched"
cut = "level"
kerf = "1/16"
root_gap = "1/32"

[roof]
front_drop = "2-1/4"
rear_drop = 3
fore_aft = "along-windshield"

[window]
forward = 3
down = "auto"
lay_down = 4.5
flange = "3/4"

[[post]]
name = "B"
cut = "square"
cut_height = 5
shift = "line-up"

[[post]]
name = "A"
side = "left"
cut = { rises_rearward = 5, rises_inboard = -2.5 }
"""

TINY_CAR_MM_TOML = """\
name = "tiny metric cab"
unit = "mm"
origin = "cowl"
rows = ["belt", "gutter", "shoulder", "crown"]
gauge = 0.9
glass = 6
tape = 1.5
rear_point = { hoop = "rear", row = "crown" }

[[hoop]]
name = "front"
right.belt = [0, 670, 0]
right.gutter = [250, 600, 410]
right.shoulder = [260, 380, 460]
right.crown = [270, 0, 480]

[[hoop]]
name = "rear"
right.belt = [1100, 660, 0]
right.gutter = [1000, 590, 410]
right.shoulder = [990, 380, 455]
right.crown = [980, 0, 475]

[[opening]]
name = "windshield"
role = "windshield"
grid = "roof"
view = "front"
side = "centre"
corners = [[-300, 380], [300, 380], [0, 450]]

[[opening]]
name = "rear"
role = "rear window"
grid = "roof"
view = "rear"
side = "centre"
corners = [[-300, 380], [300, 380], [0, 450]]

[[post]]
name = "A"
axis = [[30, 640, 0], [260, 570, 400]]
width = 50
depth = 55.5
wall = 1.2
cut_from = 80
cut_at = 120
cut_to = 330
"""
