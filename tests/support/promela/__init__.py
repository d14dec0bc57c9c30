"""Say in Promela what a sequence means, so that SPIN judges it too.

Another reading of the same plan: nothing here asks the core or the proof (README.md).
"""

from tests.support.promela.export import to_promela
from tests.support.promela.spin import Opinion, SpinFailed, ask_spin

__all__ = ["Opinion", "SpinFailed", "ask_spin", "to_promela"]
