"""Drawings, models and lists of the rig, made by code: `python -m hardware.draw`. Not part of the installed program."""
