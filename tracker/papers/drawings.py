"""Charts of the desk as drawings for a paper: the wide one of each, with styles of its own, since a paper has no style sheet."""

import re

_WIDE = re.compile(r'<svg class="chart wide".*?</svg>', re.DOTALL)
_NAMED = re.compile(r"<(title|desc)\b.*?</\1>", re.DOTALL)  # said by the paper itself
STYLE = (
    "text{font-family:'Libertinus Serif';font-size:14px;fill:#555}"
    ".label{font-weight:bold;fill:#1a1a1a}path{fill:none;stroke:#999}.grid{stroke:#ddd}"
    ".line,.known,.expected{stroke:#1a1a1a;stroke-width:2}.band{fill:#999;fill-opacity:.3;stroke:none}"
    ".fitted,.middle{stroke:#1a1a1a;stroke-width:1.5;stroke-dasharray:6 4}.other{stroke:#555;stroke-dasharray:9 4 2 4}"
    ".rug{stroke:#1a1a1a;stroke-width:1}.column{fill:#ddd;stroke:#1a1a1a;stroke-width:1.5}"
    ".column.open{fill:none;stroke-dasharray:4 3}.expect,.error{stroke:#1a1a1a;stroke-width:3}"
    ".event,.warn,.today{stroke:#555;stroke-dasharray:6 3}.flat,.span{fill:#777}.dot{fill:#1a1a1a}"
)


def for_paper(drawing: str) -> str:
    """Return the wide drawing of a chart as an SVG file of its own; '' where there is none."""
    found = _WIDE.search(drawing)
    if found is None:
        return ""
    svg = _NAMED.sub("", found.group())
    head, _, rest = svg.partition(">")
    return f'{head} xmlns="http://www.w3.org/2000/svg"><style>{STYLE}</style>{rest}'
