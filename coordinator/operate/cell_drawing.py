"""Hand the page the plan of the cell from the models by which reach and clearance are computed.

Units: metre.
"""

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from coordinator.rehearse.simulated import steel_config
from coordinator.sequence import Loaded
from sim_arms.physics.arm_chain import ArmChain, OutOfReachError
from sim_arms.physics.motion import Layout

Flat = tuple[float, float]


class CellDrawing:
    """Plan view of the cell of a sequence: never a second geometry."""

    def __init__(self, loaded: Loaded) -> None:
        self._config = config = steel_config(loaded)
        radius_m = config.bolt_circle_radius_m
        self._layout = Layout.around(radius_m, config.sides, config.side_of_bolt)
        self._chains = {
            side: ArmChain.beside(radius_m, sign)
            for side, sign in zip(config.sides, (-1.0, 1.0), strict=True)
        }
        self.links = lru_cache(maxsize=256)(self._links)

    def drawing(self) -> Mapping[str, Any]:
        """Return what never changes: bolts, bases, places, sizes."""
        config, layout = self._config, self._layout
        bolts = range(1, config.bolt_count + 1)
        first = config.sides[0]
        return {
            "bolt_circle_radius_m": config.bolt_circle_radius_m,
            "pipe_radius_m": config.pipe_radius_m or None,
            "hex_m": config.across_flats_m,
            "extent_m": round(self._extent_m(), 3),
            "bolts": [_flat(layout.point(first, f"bolt.{bolt}")) for bolt in bolts],
            "sides": {
                side: {
                    "base": [round(chain.base_x_m, 4), 0.0],
                    "rack": _flat(layout.point(side, "rack")),
                    "bin": _flat(layout.point(side, "bin")),
                }
                for side, chain in self._chains.items()
            },
        }

    def _extent_m(self) -> float:
        """Return how far from the axis any joint of an arm comes at any place."""
        bolts = (f"bolt.{bolt}" for bolt in range(1, self._config.bolt_count + 1))
        places = ("park", "rack", "bin", "bore", "joint", *bolts)
        poses = (self.links(side, place) or () for side in self._chains for place in places)
        return max(math.hypot(*point) for pose in poses for point in pose)

    def _links(self, side: str, place: str) -> Sequence[Flat] | None:
        """Return base, shoulder, elbow, wrist and tool of an arm at a place, None if unknown."""
        try:
            chain = self._chains[side]
            pose = chain.links(chain.angles(self._layout.point(side, place)))
        except (KeyError, ValueError, IndexError, OutOfReachError):
            return None
        return tuple((round(x_m, 4), round(y_m, 4)) for x_m, y_m, _ in pose)


def _flat(point: Sequence[float]) -> list[float]:
    return [round(point[0], 4), round(point[1], 4)]
