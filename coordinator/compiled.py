"""Run core and proof compiled, from the very sources that stand here, where somebody asks for it.

    python -m coordinator.compiled FOLDER
    BOTHSIDES_COMPILED=FOLDER bothsides check FILE

The first compiles them with mypyc, which takes a minute or two; the second uses what it finds for
these sources. Without the variable, and in every other program, Python runs the sources.

Invariants: PV23, what was compiled is found only under the SHA-256 of its sources and of the Python
that it is for: what has been changed since is not found, and that is told.
"""

import hashlib
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from pathlib import Path
from types import ModuleType

VARIABLE = "BOTHSIDES_COMPILED"
PACKAGES = ("lifecycles", "core", "prove")
"""What decides and what walks; all else takes little of the time."""
_HERE = Path(__file__).parent


def sources(package: str, root: Path = _HERE) -> list[Path]:
    """Return the modules of a package that are compiled."""
    return sorted(one for one in (root / package).glob("*.py") if one.name != "__init__.py")


def digest(root: Path = _HERE) -> str:
    """Return what tells these sources, for this Python, from all others."""
    found = hashlib.sha256(str(sysconfig.get_config_var("EXT_SUFFIX")).encode())
    for package in PACKAGES:
        for source in sources(package, root):
            found.update(f"{package}/{source.name}\0".encode() + source.read_bytes() + b"\0")
    return found.hexdigest()[:32]


def compile_into(folder: Path) -> Path:
    """Compile the packages.

    Args:
        folder: Made if it is not there; what was compiled of other sources is removed from it.

    Returns:
        Where the compiled modules stand.

    Raises:
        SystemExit: The compiler refused, or is not there; it says why.
    """
    made = folder.resolve() / digest()
    if made.exists():
        return made
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        shutil.copytree(_HERE, root / "coordinator", ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(_HERE.parent / "pyproject.toml", root)
        named = [str(one.relative_to(_HERE.parent)) for p in PACKAGES for one in sources(p)]
        asked = [sys.executable, "-c", "from mypyc.__main__ import main; main()", *named]
        done = subprocess.run(asked, cwd=root, capture_output=True, text=True, check=False)
        libraries = [one for one in root.rglob("*.so") if "build" not in one.parts]
        if done.returncode or not libraries:
            sys.exit(f"not compiled, and nothing was changed:\n{done.stdout}{done.stderr}")
        for old in folder.glob("*/coordinator") if folder.exists() else ():
            shutil.rmtree(old.parent)
        for library in libraries:
            there = made / library.relative_to(root)
            there.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(library, there)
    return made


def use(folder: Path) -> bool:
    """Let the packages be imported from what was compiled of these sources; tell whether it is."""
    made = folder.resolve() / digest()
    if not made.is_dir():
        print(
            f"{VARIABLE}: {folder} holds nothing that was compiled from these sources; they are "
            f"run by Python. To compile them: python -m coordinator.compiled {folder}",
            file=sys.stderr,
        )
        return False
    sys.path.append(str(made))
    sys.meta_path.insert(0, _Finder(made))
    return True


class _Finder(MetaPathFinder):
    """Finds the compiled modules of a package before its sources."""

    def __init__(self, root: Path) -> None:
        self._places = {f"coordinator.{one}": str(root / "coordinator" / one) for one in PACKAGES}

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        place = self._places.get(fullname.rpartition(".")[0])
        return None if place is None else PathFinder.find_spec(fullname, [place], target)


def main() -> None:
    """Compile into the folder that is named."""
    if len(sys.argv) != 2 or sys.argv[1].startswith("-"):
        sys.exit("say where: python -m coordinator.compiled FOLDER")
    print(compile_into(Path(sys.argv[1])))


if __name__ == "__main__":
    main()
