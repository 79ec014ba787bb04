"""A small rig as text, to which a test adds its drivers."""

RIG = """\
format = "boatrun-rig/1"
name = "bench"
[tank]
length_mm = 1000
width_mm = 500
water_depth_mm = 85
[[lines]]
name = "start"
role = "start"
x_mm = 200
[[lines]]
name = "finish"
role = "finish"
x_mm = 800
"""
TWO_GATES = """\
[[gates]]
name = "A"
line = "start"
[[gates]]
name = "B"
line = "finish"
"""
