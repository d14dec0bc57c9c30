"""Know who may act on the page: names with scrypt digests of pass phrases, and their sessions.

Units: ``*_s`` seconds of a clock that is handed in.
Invariants: PG10, a pass phrase is stored and compared only as a digest; PG11, guessing a pass
phrase is slowed down.
Source: RFC 7914 (scrypt); N = 2^14, r = 8, p = 1 as recommended for interactive use there.
"""

import hashlib
import hmac
import json
import os
import secrets
from dataclasses import dataclass
from pathlib import Path

SESSION_S = 12 * 3600.0
"""Chosen: a long shift."""
FAILURES_MAX = 5
LOCKED_S = 60.0
"""Chosen: after five wrong phrases a name is refused this long."""
PHRASE_LENGTH_MIN = 8
SESSIONS_MAX = 200


class OperatorsFailed(Exception):  # noqa: N818 (it says what happened)
    """The file of operators cannot be used. Code PAG001."""


@dataclass(frozen=True, slots=True)
class Operator:
    """A name with the digest of its pass phrase."""

    name: str
    salt: str
    digest: str

    @classmethod
    def of(cls, name: str, phrase: str) -> "Operator":
        """Make an operator with a salt of its own."""
        salt = secrets.token_hex(16)
        return cls(name, salt, _digest(phrase, salt))

    def knows(self, phrase: str) -> bool:
        """Tell whether a pass phrase is this operator's."""
        return hmac.compare_digest(self.digest, _digest(phrase, self.salt))


def _digest(phrase: str, salt: str) -> str:
    made = hashlib.scrypt(
        phrase.encode(errors="surrogatepass"), salt=bytes.fromhex(salt), n=2**14, r=8, p=1
    )
    return made.hex()


def read_operators(path: Path) -> dict[str, Operator]:
    """Read a file of operators.

    Raises:
        OperatorsFailed: PAG001, it cannot be read or is not such a file.
    """
    try:
        entries = json.loads(path.read_text(encoding="utf-8"))["operators"]
        return {entry["name"]: Operator(**entry) for entry in entries}
    except (OSError, ValueError, TypeError, KeyError) as error:
        what = getattr(error, "strerror", None) or f"is no file of operators ({error})"
        raise OperatorsFailed(
            f"{path}: {what}; make one with 'bothsides operator NAME' [PAG001]"
        ) from None


def write_operator(path: Path, made: Operator) -> None:
    """Add an operator to a file, or give a known one a new pass phrase.

    Raises:
        OperatorsFailed: PAG001.
    """
    known = read_operators(path) if path.exists() else {}
    known[made.name] = made
    entries = [{"name": one.name, "salt": one.salt, "digest": one.digest} for one in known.values()]
    beside = path.with_name(path.name + ".new")
    try:
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump({"operators": entries}, file, indent=1)
        beside.replace(path)
    except OSError as error:
        raise OperatorsFailed(f"{path}: {error.strerror}; name another file [PAG001]") from None


class Sessions:
    """Who is signed in."""

    def __init__(self, operators: dict[str, Operator]) -> None:
        self._operators = operators
        self._open: dict[str, tuple[str, float]] = {}
        self._failures: dict[str, tuple[int, float]] = {}

    @property
    def is_possible(self) -> bool:
        """Tell whether anybody could sign in at all."""
        return bool(self._operators)

    def is_locked(self, name: str, now_s: float) -> bool:
        """Tell whether a name was guessed at too often just now."""
        count, since_s = self._failures.get(name, (0, 0.0))
        return count >= FAILURES_MAX and now_s - since_s < LOCKED_S

    def sign_in(self, name: str, phrase: str, now_s: float) -> str | None:
        """Return the token of a new session, None if name and phrase do not fit."""
        known = self._operators.get(name)
        # Also for an unknown name, so that the time tells nobody which names there are.
        fits = (known or Operator(name, "00" * 16, "")).knows(phrase)
        if known is None or not fits:
            if len(self._failures) < SESSIONS_MAX or name in self._failures:
                self._failures[name] = (self._failures.get(name, (0, 0.0))[0] + 1, now_s)
            return None
        self._failures.pop(name, None)
        token = secrets.token_urlsafe(32)
        self._open[token] = (name, now_s)
        if len(self._open) > SESSIONS_MAX:
            del self._open[next(iter(self._open))]
        return token

    def sign_out(self, token: str) -> None:
        """End a session."""
        self._open.pop(token, None)

    def who(self, token: str, now_s: float) -> str | None:
        """Return whose session a token is, None if it is nobody's any more."""
        name, since_s = self._open.get(token, ("", 0.0))
        return name if name and now_s - since_s < SESSION_S else None
