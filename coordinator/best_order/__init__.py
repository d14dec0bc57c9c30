"""Find, where a sequence leaves the order free, the order with the shortest cycle.

The solver is OR-tools' CP-SAT; whether the result may be run is for the proof to say.
"""
