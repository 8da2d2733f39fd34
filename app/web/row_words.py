"""A published row in words, whoever it speaks of: what number, for whom, how known."""

from decimal import Decimal

from app.clinical import vocabulary as terms
from app.clinical.clauses import DIRECTION_WORDS
from app.clinical.measure import (
    Cutoff,
    Fit,
    ImportantChange,
    Measure,
    Norm,
    Reliability,
    Row,
    UnableRow,
)
from app.clinical.quantities import words
from app.clinical.setup import fact_words

LIMITS = {"average": "limit of the average", "normal": "limit of normal",
          "fifth": "slowest fifth from"}  # fmt: skip


def row_words(row: Row) -> str:
    """The numbers a row holds, each with its unit."""
    if isinstance(row, Norm):
        return _norm(row)
    if isinstance(row, Cutoff):
        limit = f"{DIRECTION_WORDS[row.direction]} {words(row.value, row.unit)}"
        return f"limit {limit}: {row.outcome}{_accuracy(row)}"
    if isinstance(row, UnableRow):
        return f"unable: {row.outcome}"
    if isinstance(row, Reliability):
        return _reliability(row)
    assert isinstance(row, ImportantChange)
    size = f"{words(row.value, row.unit)} {row.direction}"
    return f"change that mattered: {size}, {row.anchor}"


def _norm(row: Norm) -> str:
    said = []
    if row.mean is not None:
        spread = f" (SD {row.sd})" if row.sd is not None else ""
        said.append(f"average {words(row.mean, row.unit)}{spread}")
    if row.ci95 is not None:
        said.append(f"95 % interval {row.ci95[0]} to {words(row.ci95[1], row.unit)}")
    if row.limit is not None and row.limit_kind is not None:
        said.append(f"{LIMITS[row.limit_kind]} {words(row.limit, row.unit)}")
    if row.share is not None:
        said.append(f"{row.share * 100:.0f} of 100 managed it")
    for place, value in row.percentiles.items():
        said.append(f"percentile {place}: {words(value, row.unit)}")
    return "; ".join(said)


def _accuracy(row: Cutoff) -> str:
    parts = {
        "sensitivity": row.sensitivity, "specificity": row.specificity,
        "area under the curve": row.auc,
    }  # fmt: skip
    said = [f"{name} {value}" for name, value in parts.items() if value is not None]
    return f" ({', '.join(said)})" if said else ""


def _reliability(row: Reliability) -> str:
    kind = row.kind.replace("_", " ").replace("test retest", "retest")
    sizes: list[tuple[str, Decimal | None, str]] = [
        ("ICC", row.icc, ""),
        ("SEM", row.sem, row.unit),
        ("MDC95", row.mdc95, row.unit),
        ("MDC90", row.mdc90, row.unit),
        ("MDC", row.mdc_percent, "%"),
    ]
    said = [f"{n} {words(v, u) if u else v}" for n, v, u in sizes if v is not None]
    if row.limits is not None:
        low, high = row.limits
        said.append(f"limits of agreement {low} to {words(high, row.unit)}")
    if row.gain_percent is not None and row.loss_percent is not None:
        said.append(f"gain {row.gain_percent} %, loss {row.loss_percent} %")
    when = f", {row.interval}" if row.interval else ""
    return f"{kind}{when}: {', '.join(said)}"


def whom(measure: Measure, fit: Fit) -> str:
    """The keys a row is matched by, in words: restrictions nobody should overlook."""
    said = [terms.ROW_CONDITIONS[fit.condition]]
    if fit.sex:
        said.append(f"{terms.SEXES[fit.sex]} only")
    if fit.age_min is not None or fit.age_max is not None:
        said.append(_ages(fit.age_min, fit.age_max))
    said += [terms.SETTINGS[s] for s in fit.settings]
    if fit.quantity != "score":
        said.append(f"speaks of: {fit.quantity.replace('_', ' ')}")
    if fit.variant:
        said.append(measure.variant(fit.variant).label)
    for key, values in fit.requires.items():
        fact = measure.fact(key)
        said += [fact_words(fact, v) for v in values] if fact else []
    for key, values in fit.requires_person.items():
        said += [terms.PERSON_FACTS[key][v] for v in values]
    return "; ".join(said)


def _ages(least: int | None, most: int | None) -> str:
    """
    >>> _ages(18, None), _ages(None, 64), _ages(65, 74)
    ('ages 18 and over', 'ages up to 64', 'ages 65 to 74')
    """
    if most is None:
        return f"ages {least} and over"
    return f"ages up to {most}" if least is None else f"ages {least} to {most}"
