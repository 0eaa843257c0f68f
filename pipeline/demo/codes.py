"""Codes that every invented job gives the same meaning."""

CODES = """\
[codes.LIP]
what = "clay below the lip of the gutter"
break_name = "lip"

[codes.GR]
what = "ground"

[codes.HUB]
what = "hub, top of the wood"
ground = false
kind = "hub"

[codes.MH]
what = "manhole, lid or plate"
ground = false
kind = "lid"

[codes.WV]
what = "water valve, box or nut"
ground = false
kind = "lid"

[codes.CB]
what = "catch basin, frame or plate"
ground = false
kind = "lid"

[codes.CP]
what = "control point shot again, its id in the note"
ground = false
kind = "control"

"""
"""A piece of a job file: what is shot as a place, not as a line."""
