"""Be the embedded broker, as a process of its own that ends when its parent does.

Started by `broker.py` with the path of a configuration; imports nothing else of ours.
"""

import os
import shutil
import sys
import threading
from pathlib import Path

from iotcore import IotCoreBroker


def _end_with_parent() -> None:
    sys.stdin.buffer.read()  # Blocks until the parent closes its end, or is gone.
    # A parent that was killed has left its folder to us.
    shutil.rmtree(Path(sys.argv[1]).parent, ignore_errors=True)
    os._exit(0)  # The broker has no way to be asked to end.


def main() -> None:
    """Serve until the parent lets go."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    IotCoreBroker(config_path=sys.argv[1]).run_forever()


if __name__ == "__main__":
    main()
