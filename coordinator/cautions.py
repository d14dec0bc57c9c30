"""The caution that every long report to a person begins with."""

CAUTION = (
    "WARNING: heavy loads hang overhead and stored pressure can injure. The holds of this program "
    "are operational; they replace no guarding, local code or licensed practice."
)
