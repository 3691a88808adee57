"""The virtual bench's results as a table, with confidence intervals."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta

TITLES = {
    "x": "crossed X, free rim",
    "fan": "fan of seven struts, hinged rim",
    "ladder": "ladder of five bars, hinged rim",
}
WAYS = {"plan": "plan", "usual": "brace by brace"}
CONFIDENCE = 0.95


def interval(k: int, n: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Confidence interval of a share of which k in n were found.

    References
    ----------
    C. J. Clopper, E. S. Pearson, "The use of confidence or fiducial limits illustrated in the case of the binomial",
    Biometrika 26 (1934) 404-413.
    """
    tail = (1.0 - confidence) / 2
    low = 0.0 if k == 0 else float(beta.ppf(tail, k, n - k + 1))
    high = 1.0 if k == n else float(beta.ppf(1.0 - tail, k + 1, n - k))
    return low, high


def table(records: Sequence[dict[str, Any]]) -> list[str]:
    """Lines of a Markdown table: a row a pattern and way, then both for all tops."""
    names = [name for name in TITLES if any(record["pattern"] == name for record in records)]
    lines = [
        "| tops | way | all targets within 1 %, none passed | a target passed at any time | passes, half / nine in ten "
        "| wood removed |",
        "|---|---|---|---|---|---|",
    ]
    groups = [(TITLES[name], [record for record in records if record["pattern"] == name]) for name in names]
    if len(groups) > 1:
        groups.append(("all", list(records)))
    for title, group in groups:
        lines += [_row(f"{title}, {len(group)}", way, group) for way in WAYS]
    return lines


def _row(title: str, way: str, records: Sequence[dict[str, Any]]) -> str:
    # A top on which the program failed is one that was not reached.
    tuned = [record[way] for record in records if "error" not in record]
    n = len(records)
    reached = [one for one in tuned if one["reached"]]
    passes = [one["passes"] for one in reached]
    often = f"{np.median(passes):.0f} / {np.percentile(passes, 90, method='higher'):.0f}" if passes else "-"
    grams = f"{np.median([one['grams'] for one in tuned]):.1f} g" if tuned else "-"
    shares = [_share(len(reached), n), _share(sum(one["passed"] for one in tuned), n)]
    return f"| {title} | {WAYS[way]} | {shares[0]} | {shares[1]} | {often} | {grams} |"


def _share(k: int, n: int) -> str:
    low, high = interval(k, n)
    return f"{100 * k / n:.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def written(path: Path, records: Sequence[dict[str, Any]]) -> Path:
    """README with the table between its comments, <!-- bench --> and <!-- /bench -->."""
    text = path.read_text(encoding="utf-8")
    head, opening, rest = text.partition("<!-- bench -->\n")
    _, closing, tail = rest.partition("<!-- /bench -->\n")
    if not opening or not closing:
        message = f"no <!-- bench --> ... <!-- /bench --> in {path}"
        raise ValueError(message)
    aside = path.with_suffix(".tmp")
    aside.write_text(head + opening + "\n".join(table(records)) + "\n" + closing + tail, encoding="utf-8")
    aside.replace(path)
    return path
