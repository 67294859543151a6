"""Scans against calvings, as lines of text."""

from collections.abc import Iterable, Iterator

from voicecapture.reckoning.outcomes import PUBLISHED_WITHIN_10, Audit
from voicecapture.report.wording import written_share


def audit_lines(audits: Iterable[Audit]) -> Iterator[str]:
    """All audits, line by line."""
    for audit in audits:
        yield from _one(audit)
        yield ""
    yield (
        f"Elsewhere, by hand: {PUBLISHED_WITHIN_10.count} of {PUBLISHED_WITHIN_10.of} cows, "
        f"{100 * (PUBLISHED_WITHIN_10.value or 0):.1f} %, calved within 10 days of the prediction "
        "(Matthews and Morton 2012, N Z Vet J 60:234-240)."
    )
    yield "The spread of gestation itself, about 5 days, is in every ageing error."


def _one(audit: Audit) -> Iterator[str]:
    yield f"Scans by {audit.vet}" if audit.vet else "All scans"
    yield "  predicted less actual calving; positive: she calved earlier than predicted"
    yield f"  {'age at the scan':<16} {'cows':>5} {'mean':>7} {'sd':>6}  within 10 days"
    for stage in audit.ageing:
        sd = f"{stage.sd_days:.1f}" if stage.sd_days is not None else "-"
        errors = f"{stage.cows:>5} {stage.mean_days:>+7.1f} {sd:>6}"
        yield f"  {stage.stage:<16} {errors}  {written_share(stage.within_10)}"
    yield f"  left out, more than 45 days off: {audit.ageing_left_out}"
    yield f"  empty, and was in calf: {written_share(audit.false_empty)}"
    yield f"  empty, and conceived later or too shortly before to be seen: {audit.conceived_too_late}"
    yield f"  in calf, and did not calve from it: {written_share(audit.not_calved)}"
    yield f"    of them lost after the scan, as known from a later scan or the farm: {audit.lost}"
    yield f"    of them calved from a conception after the scan: {audit.conceived_later}"
    yield f"  tell nothing (sold, died, not in the list, rechecks): {audit.unknown}"
