"""The demo's job file, word for word."""

from pipeline.demo.codes import CODES

JOB = (
    """\
# An invented street: no such lane, no such levels. Not for construction.
name = "Thrumbel Lane, 0+000 to 0+420 (invented demo)"
control = "control.csv"
utilities = "utilities.csv"

[grid]
crs = "local"
vertical_datum = "site bench marks, invented"
unit = "m"

[shots]
folder = "shots"

[[shots.formats]]
files = "morning*.csv"
unit = "m"
header = true
delimiter = ","
decimal = "."

[[shots.formats]]
files = "hubs*.csv"
unit = "m"
header = true
delimiter = ";"
decimal = ","
columns = { id = "point", northing = "north", easting = "east", elevation = "height", \
code = "code", note = "remark" }

[design]
name = "Thrumbel Lane"
alignment = "design/alignment.csv"
profile = "design/profile.csv"
sections = "design/sections.toml"

[[layers]]
name = "finish"
title = "finished surface"

[[layers]]
name = "gravel top"
title = "top of gravel"

[[layers]]
name = "stabilised top"
title = "top of stabilised clay"

[[layers]]
name = "clay subgrade"
title = "clay before stabilising"

# EC, BB and TB carry a line number in the field: 1 left, 2 right.
[codes.CL]
what = "clay on the centreline"
line = true
break_name = "crown"
max_step_m = 15.0

[codes.EC]
what = "edge of clay"
line = true
break_name = "edge of clay"
max_step_m = 15.0

[codes.BB]
what = "bottom of the backing bank"
line = true
max_step_m = 15.0

[codes.TB]
what = "top of the backing bank"
line = true
max_step_m = 15.0

"""
    + CODES
    + """\
[surface]
max_edge_m = 15.0
same_place_m = 0.05
same_height_m = 0.015

[checks]
control_warn_h_m = 0.010
control_warn_v_m = 0.005
control_stop_h_m = 0.020
control_stop_v_m = 0.010
off_job_m = 50.0
bust_m = 0.05

[stakes]
interval_m = 10.0
interval_curve_m = 5.0
hub_behind_m = 1.5
reference = "top back of curb"

[rounding]
lath_m = 0.005
curb_m = 0.001
dirt_m = 0.01
on_grade_m = 0.010

[target]
layer = "clay subgrade"

# What a cubic metre costs: as invented as the street. Put your own job's here, or nothing:
# without costs there is no recommended height and no haul plan.
[costs]
currency = "units"
surplus_per_m3 = 60.0
shortage_per_m3 = 45.0
blade_per_m3_m = 0.05
truck_per_m3 = 4.0
truck_per_m3_m = 0.01
borrow_per_m3 = 18.0
waste_per_m3 = 14.0

[sheet]
scale = 500
prepared_by = "invented demo, not for construction"
"""
)
