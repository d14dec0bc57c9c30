"""Bolting arithmetic: threads, strengths, torque and preload, orders, hydraulics, distances.

Pure functions of numbers; no I/O but their own tables, and no unit library inside.

Every formula names its published source beside it.

Units: SI floats everywhere (m, N, N*m, Pa, rad, s); inch and pound values are converted where
they are tabulated, with the exact factors of ``constants``.
"""
