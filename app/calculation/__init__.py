"""The geometry and arithmetic of a fit: pure functions over numbers and frozen dataclasses.

Nothing here reads a clock, a file, a setting or a table. Lengths are inches and angles degrees on every
public surface; radians live inside one function. The frame and its signs are written down in
`templates/help/geometry.md`.
"""
