"""The sentences that the screen itself makes from values, by code."""

from __future__ import annotations

from bench.render.template import sentence_maker

TEMPLATES = {
    "back": "The {name} is back.",
    "too-soon": "Not taken: too soon after the question changed. Read, then answer.",
    "mark": "Mark {number} of {of}: {words}",
    "never-measured": "{check}: not measured yet.",
    "result": "{check}, {day}: {verdict}.",
    "limits": "Limits it most: {part}.",
    "results-of": "Results of {sled}",
    "results-across": "Results of {sled}, sled fence across {board:nominal}",
    "shows": "{check}: shows {shows}.",
    "not-now": "Not now: {why}.",
    "happened": "What happened to {sled}?",
    # the move
    "made-leaves": "Made, with the leaves: {stack:length}",
    "made-as-said": "Made, as said: {distance:rounded {uncertainty}}",
    "stands": "On the sled, tip on the {face} face.",
    "stands-at": "On the sled, tip on the {face} face, {reach:nominal} from the pivot.",
    "good-within": "Good enough within {limit:length}.",
    "live-inside": "Good enough.",
    "live-once-tight": "Good enough once it is tight.",
    "live-outside": "Not good enough yet.",
    "live-cannot-tell": "Too close to call yet.",
    "moved": "Moved {distance:rounded {uncertainty}} {way:way}.",
    "screw-drew": "The screw drew it {distance:rounded {uncertainty}} {way:way}.",
    "push-on": "Push right through. Stop, then draw it back.",
    # instruments, sleds and leaves
    "instrument-now": "{name}: {number}, {way}.",
    "instrument-rate": "It reads: {rate:.0f} a second, {rejects} rejected.",
    "instrument-button": "It reads at its own button, {rejects} rejected.",
    "prove-with": "Prove unit and direction with a leaf of {leaf}",
    "sled": (
        "sled fence {side:near=on your side|far=beyond the work}, pivot at the {pivot}"
        " end"
    ),
    "leaf-hint": "Their thicknesses in {unit}, parted by + or a blank.",
    "typed-wrong": "It {problem}.",
}
screen_text = sentence_maker(TEMPLATES)
