"""A walked pathway as JSON-ready values."""

from typing import Any

from app.clinical.pathway import Step, Told, Walk


def pathway_json(walked: Walk, catalogue_edition: str) -> dict[str, Any]:
    """The contract of `tapeline pathway --json`; no level is null, never a number."""
    path, by = walked.pathway, walked.by
    return {
        "pathway": path.id,
        "name": path.name,
        "edition": path.edition,
        "catalogue_edition": catalogue_edition,
        "source": path.source,
        "level": walked.level or None,
        "level_says": path.names.get(walked.level),
        "by": by.rule.id if by else None,
        "leads_to": by.rule.then if by else None,
        "unconfirmed": walked.unconfirmed,
        "assumed": [f"not: {a}" for a in by.assumed] if by else [],
        "findings": list(walked.findings),
        "missing": [{"kind": n.kind, "key": n.key} for n in walked.missing],
        "steps": [_step(s) for s in walked.steps],
        "remarks": [
            {"says": r.text, "source": r.source, "how": r.how} for r in walked.remarks
        ],
    }


def _step(step: Step) -> dict[str, Any]:
    rule = step.rule
    return {
        "rule": rule.id,
        "step": rule.step,
        "state": step.state,
        "when": rule.when,
        "then": rule.then,
        "gives": rule.gives or None,
        "source": rule.source,
        "how": rule.how,
        "note": rule.note or None,
        "conditions": [_told(t) for t in step.told],
    }


def _told(told: Told) -> dict[str, Any]:
    return {"says": told.condition.says, "met": told.met, "own": told.own or None}
