"""The sentences of the report and the card, by code."""

from __future__ import annotations

from bench.render.template import sentence_maker

TEMPLATES = {
    # what began a baseline period
    "event-moved": "moved",
    "event-dropped": "dropped",
    "event-runners": "runners",
    "event-blade": "new blade",
    "event-saw": "saw",
    "event-square": "square",
    "event-accepted": "accepted",
    "event-first": "first",
    # when to check again
    "due-now": "now",
    "due-soon": "by {by}",
    "due-later": "by {by}",
    "due-never-checked": "never checked yet",
    # what a chart shows
    "chart-title": "{what} of {subject} over time",
    "chart-one": "One result, of {first}.",
    "chart-results": "{count} results from {first} to {last}.",
    "chart-latest": "The latest: {latest}.",
    "chart-limit": "Good enough within {limit}, the band.",
    "chart-events": "The chart begins anew: {events}.",
    "chart-season": "The broken curve is the season's part.",
    "chart-alarms": "Diamonds are results that raised an alarm: {count}.",
    # results and moves
    "results": "Results, the newest first.",
    "results-board": "Results, the newest first; the sled fence across {board}.",
    "older": "{count} older results are in the log.",
    "move": "{end} end {way:way}, {distance}",
    "move-made": "made by {distance}",
    "move-made-unknown": "made",
    "move-planned": "not noted as made",
    "move-verified": "made by {distance}, and verified",
    "move-verified-unknown": "made and verified",
    "budget": "What limits the result of {at}: {subject}, {check}",
    # gear
    "gear-fence": "Sled fence",
    "gear-fence-near": "at the edge near you",
    "gear-fence-far": "at the far edge",
    "gear-pivot": "Pivot",
    "gear-pivot-at": "at the {pivot} end",
    "gear-pivot-blade": "Pivot to blade",
    "gear-pivot-screw": "Pivot to screw",
    "gear-pivot-stop": "Pivot to stop",
    "gear-board": "Widest board",
    "gear-tolerance": "Good enough",
    "gear-saw": "Saw",
    "gear-square": "Square",
    "gear-resolution": "Indicator reads to",
    "gear-leaves": "Leaves",
    # the card
    "card-none": "Never checked yet.",
    "card-next": "Next check: {when}.",
    "card-no-date": "Next check: no date yet; a month is usual.",
}
report_text = sentence_maker(TEMPLATES)
