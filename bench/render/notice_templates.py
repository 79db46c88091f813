"""The templates of the sentences that the daemon tells, by code."""

from __future__ import annotations

_SEEN = "I saw {seen:length 3 1} where the leaf is {leaf:length 3 1}"
_SEEN_OUT = "I saw {seen:length 3 1} going OUT where"
_DECIMALS = (
    "Decimals are lost or added. Nothing is kept; decimals in the settings says how"
    " many there are."
)
_OTHER_LEAF = "Is it that leaf, and clean? Nothing is kept; prove it again."
_DISTANCE = "{distance:rounded {uncertainty}}"
_MOVE = "move the {end} end {way:way}."

TEMPLATES = {
    # passes
    "pass-kept": "{taken} of {wanted} kept.",
    "pass-measured": "NOT RECORDED: {taken} of {wanted} measured.",
    "returned": "Returned to the start: good.",
    "returned-first": (
        "That pass came back; only passes away from you count. Did you push it away?"
        " Then the travel counts the other way. Say so with grows, under [travel]."
    ),
    "too-few-readings": (
        "Only {readings} readings came in that pass. Push slower. Is the cable loose?"
    ),
    "not-whole": (
        "That pass was {length:length 0}, the longest {longest:length 0}. Push right"
        " through to the end."
    ),
    "shown-not-whole": (
        "It was {length:length 0}. A later pass of {longest:length 0} shows it was not"
        " whole."
    ),
    "pass-broken": "{why}",
    "pass-not-straight": "{why}",
    "pass-interrupted": "The {name} {how}; do this pass again.",
    "settled-early": "That settles it: no further pass is needed.",
    "began-too-early": "That movement began too early: it does not count.",
    "too-short": "too short for a pass",
    "short-return": "a short way back",
    "return-of-refused": "the way back of a pass that was not kept",
    "return-of-undone": "the way back of a pass taken back",
    "mark-taken": "{value:length 3} taken at {at:place}.",
    # what was taken back, and how a check ends
    "mark-undone": "Mark at {at:place} taken back.",
    "marks-undone": "undone",
    "undone-by-hand": "Taken back by hand.",
    "press-undone": "The press is taken back: no number was taken.",
    "pass-undone": "The last pass at {placement} is taken back.",
    "nothing-to-undo": "There is nothing to take back.",
    "extended": "{sweeps} passes more in every set-up.",
    "check-given-up": "The check was given up.",
    "given-up": "{check} is given up; what was measured stays in the log.",
    "daemon-ended": "The daemon was ended.",
    "not-concluded": "No result: {why}.",
    "move-noted": "Noted: the {end} end moved {distance:length} {way:way}.",
    # the set-up's own tests
    "lean-no-play": "No play was seen. The side is taken as said: check it.",
    "lean-proved": (
        "The indicator stands on the {side}, as it should. Play {play:length 3}."
    ),
    "lean-wrong-side": (
        "The lean test puts the indicator on the {side}. This set-up wants it on the"
        " {wanted}. Was the square turned over? Put it as said, then Enter."
    ),
    "tap-passed": "The number came back: the stand holds.",
    "tap-failed": (
        "The number did not come back: it stands {off:length 3} off. Is the magnet on,"
        " the foot clean, every screw tight? Mend it, then hands off: it is asked"
        " again."
    ),
    "reading-wanders": (
        "The number does not hold still: it wanders over {spread:length 3}."
        " {allowed:length 3} would do. Hands off the sled; is the stand firm?"
    ),
    "reading-creeps": (
        "The number does not hold still: it creeps or shivers. Hands off the sled; is"
        " the stand firm?"
    ),
    "number-moves": "The number moves: good.",
    "cables-swapped": (
        "The indicator moves as a sled does; the travel stands still. Are their cables"
        " swapped? Change the two. Or change the ports under [indicator] and [travel]"
        " in the settings."
    ),
    "travel-stuck": (
        "The indicator moves and the travel stands still. If you are pushing, the"
        " travel is not read. See to its cable, its wheel or its scale. Nothing is"
        " taken till it moves."
    ),
    "no-travel": (
        "No travel was seen since ready. If you pushed, it is not read. See to its"
        " cable, its wheel or its scale. Are indicator and travel swapped?"
    ),
    "sled-not-at-rest": (
        "The sled is not at rest, so no pass can begin. Let go of it. If it stands"
        " still, see to the travel's cable and head."
    ),
    # the instruments
    "unit-switched": "The {name} was switched from {before} to {unit}.",
    "reads-again": "The {name} reads again.",
    "on-hold": (
        "The {name} is on hold, maximum or minimum. Switch that off on the gauge; till"
        " then nothing counts."
    ),
    "missed-edge": (
        "The {name} has missed an edge. Where the sled is, is not known. Push slower."
    ),
    "reading-held": (
        "One reading of the {name} was left out: {value:length 3}. It jumped off the"
        " path: dust, a jerk or a lost bit. So far {held}."
    ),
    "travel-held": (
        "One reading of the {name} was left out: {value:length 3}. It jumped off the"
        " path: a jerk or a lost bit. So far {held}."
    ),
    "press-without-reading": (
        "That press of the {name} gave no reading: {why}. Press again."
    ),
    "beat-stand-still": "Stand still.",
    "beat-move": "Move to {at:place}.",
    # the live move
    "live-unread": "The indicator does not read. What is left to go is not known.",
    "live-not-heard": "The indicator is not heard.",
    "live-stand-fence": (
        "Stand the indicator on the sled, its tip on the sled fence. The tip goes"
        " {distance:length} from the pivot. Enter when it stands."
    ),
    "live-stand-arm-beyond": (
        "Stand the indicator on the sled, its tip on the square's arm. The tip goes"
        " {distance:length} beyond the pivot's line. Enter when it stands."
    ),
    "live-stand-arm-short": (
        "Stand the indicator on the sled, its tip on the square's arm. The tip goes"
        " {distance:length} this side of the pivot's line. Enter when it stands."
    ),
    "live-lean": (
        "Lean the sled left and right and push it a little. The number must stand"
        " still. Then Enter."
    ),
    "live-not-on-sled": (
        "Leaning the sled moved the number by {moved:length}. So the indicator does"
        " not stand on the sled. Set it there, then Enter, and lean again."
    ),
    "live-still-moves": "The number still moves. Let it hold, then Enter.",
    "live-below-noise": (
        "The move at the tip is {move:length}. The number's own noise is as large."
        " This indicator cannot show it there."
    ),
    "live-not-moved": (
        "The number has not moved. Does the tip touch the sled fence, is the screw"
        " slack?"
    ),
    "live-past": f"Too far by {_DISTANCE}: back {{way:way}}.",
    "live-wrong-way": f"Wrong way: {_MOVE} {_DISTANCE} to go.",
    "live-leave": "Leave it where it is. Enter, then tighten.",
    "live-there": "There, and it holds. Enter, then tighten.",
    "live-hands-off": "Hands off: it must hold there.",
    "live-to-go": f"{_DISTANCE} to go: {_MOVE}",
    "live-or-enter": "Or Enter, to tighten it as it is.",
    "live-aims-past": (
        f"It aims {_DISTANCE} past: the screw draws it so much {{way:way}}."
    ),
    "live-aims-short": (
        f"It aims {_DISTANCE} short: the screw draws it so much {{way:way}}."
    ),
    "live-jumped": (
        "It jumped {distance:rounded {uncertainty}} at once. If that was the stand,"
        " end live and check again."
    ),
    "live-tighten": "Tighten.",
    "live-drawn": f"It has drawn {_DISTANCE} {{way:way}}.",
    "live-too-far": f"{_DISTANCE} too far: back {{way:way}}.",
    "live-short": f"{_DISTANCE} short: {{way:way}}.",
    "live-enter-tight": "Enter when it is tight.",
    "live-slack-off": (
        "Or slack off and take it back: undo. Then it aims past by what was drawn."
    ),
    "live-slackened": "Slack off: it aims past by what the screw drew.",
    "live-tight": "Tight.",
    "live-verify": "Take the verifying passes.",
    "live-left": "The live move is left.",
    # the leaf proof
    "leaf-rest": "Rest the tip on something flat and hard. Enter when it rests.",
    "leaf-hold-still": "Hold it still.",
    "number-wanders": (
        "The number does not hold still: it wanders over {spread:length 3}."
        " {allowed:length 3} would do."
    ),
    "number-creeps": "The number does not hold still: it creeps or shivers.",
    "leaf-indicator-gone": (
        "The indicator went away: nothing is proved. Plug it in, then again."
    ),
    "leaf-no-reading": (
        "No reading comes: is the instrument on? Press its send button, if it has one."
    ),
    "leaf-slip": (
        "Slip the leaf of {leaf:length} under the tip. Let the tip rest on it. Enter"
        " when it does."
    ),
    "leaf-proved": "I saw {seen:length 3 1} going in: right unit, right way.",
    "leaf-wrong-way": (
        "The number went {seen:length 3 1} the wrong way. A leaf pushes the plunger"
        " in. Nothing is kept. Find the indicator again by pressing its plunger in."
    ),
    "leaf-inches": (
        _SEEN + ": 1/{part:g} of it. The instrument shows inches and is taken for"
        " millimetres. Nothing is kept."
    ),
    "leaf-millimetres": (
        _SEEN
        + ": {factor:g} times as much. The instrument shows millimetres, taken for"
        " inches. Nothing is kept."
    ),
    "leaf-decimals-less": _SEEN + ": 1/{part:g} of it. " + _DECIMALS,
    "leaf-decimals-more": _SEEN + ": {factor:g} times as much. " + _DECIMALS,
    "leaf-nothing": (
        "The number did not change ({seen:length 3 1}): is the leaf under the tip?"
    ),
    "leaf-other": _SEEN + ". " + _OTHER_LEAF,
    "leaf-other-out": _SEEN_OUT + " the leaf is {leaf:length 3 1}. " + _OTHER_LEAF,
    "leaf-cure": 'It sends no unit: default_unit = "{unit}" would put that right.',
    "leaf-cure-resolution": (
        'It sends no unit: set default_unit = "{unit}". Set the resolution with it.'
    ),
    # which cable is which instrument
    "setup-press": "Press the indicator's plunger in, some 2 mm. Let it out again.",
    "setup-push": "Push the sled away from you, 50 mm or more. Leave it there.",
    "setup-port-gone": "{name} went away; nothing was kept.",
    "setup-port-gone-midway": (
        "{name} went away in the middle of it. Plug it in, then again."
    ),
    "setup-nothing-heard": (
        "Nothing has moved yet, and no instrument is heard. Plug its cable in and"
        " switch it on. Or press its send button."
    ),
    "setup-nothing-moved": "Nothing has moved yet; heard: {names}.",
    "setup-too-far": (
        "{name} moved by {far:distance}: no plunger goes so far. Was it the sled?"
    ),
    "setup-too-little": (
        "{name} moved by {far:distance} only: {least:length} at least is wanted."
    ),
    "setup-push-on": "Push on, away from you.",
    "setup-stays": (
        "{name} moved by {far:distance} and stays there: let the plunger out again."
    ),
    "setup-stayed": (
        "{name} moved by {far:distance} and stayed there: no plunger does."
    ),
    "setup-came-back": (
        "{name} moved by {far:distance} and came back. Leave the sled where you pushed"
        " it."
    ),
    "setup-indicator-grows": (
        "{name} went {far:distance} and back: it is the indicator. Its number grows as"
        " the plunger goes in."
    ),
    "setup-indicator-falls": (
        "{name} went {far:distance} and back: it is the indicator. Its number falls as"
        " the plunger goes in."
    ),
    "setup-travel-grows": (
        "{name} went {far:distance}: it is the travel. Its number grows as the sled"
        " goes away from you."
    ),
    "setup-travel-falls": (
        "{name} went {far:distance}: it is the travel. Its number falls as the sled"
        " goes away from you."
    ),
    "setup-inches": "It shows inches, and so will this.",
    "setup-was-other": "It was the {other} until now, which then has no cable.",
    "setup-changes": "In {file}: {changes}.",
    "setup-nothing-kept": "Nothing is kept: {why}.",
    "setup-not-writable": (
        "Nothing is kept: {path} cannot be written: {why}. Mend that and do it again,"
        " or write there: {by_hand}"
    ),
    "setup-cured": "Kept in {file}. Now prove it again.",
    "setup-kept": "Kept in {file}: {name} is the {what}.",
    # the state of a cable
    "cable-listening": "It is listened to.",
    "cable-asleep": "It has fallen silent: is the instrument asleep?",
    "cable-held": "It is held by {holders}: close that program.",
    "cable-busy": "Another program holds it: close that program.",
    "cable-denied": "It may not be opened. Add the daemon's user to the group dialout.",
    "cable-gone": "It went away: was the cable pulled?",
    "cable-no-port": "{why}.",
    "cable-changed": "What it sends has changed; it is listened to again.",
    "cable-silent": (
        "Nothing is sent. Switch it on and let it send by itself. Or press its send"
        " button."
    ),
    "cable-text": "Lines of text at {baud} baud, in no known form.",
    "cable-unknown": "What is sent has no known form. `sweepgauge doctor` says more.",
    "cable-reads": "It reads: {format} lines at {baud} baud.",
    "cable-reads-parity": (
        "It reads: {format} lines at {baud} baud, {parity} parity over seven bits."
    ),
    "cable-reads-seven": (
        "It reads: {format} lines at {baud} baud, seven bits, two stop bits."
    ),
    # events of the log
    "event-learned": "The {what} was found and kept in the settings.",
    "event-learned-values": "The {what} was found and kept in the settings: {kept}.",
    "event-leaf-proved": (
        "A leaf of {leaf:length 3} moved the number by {seen:length 3}."
        " Right unit, right way."
    ),
    "event-leaf-unproved": (
        "A leaf of {leaf:length 3} moved the number by {seen:length 3}: nothing proved."
    ),
    "gear-event": "{jig}: {what} on {date}{note}.",
    "gear-event-noted": ("Noted of {jig}: {what}. Its charts begin anew from {date}."),
    "event-clock-set": "The clock of this machine was set by a network.",
    "event-opened": "The log was opened by {program}.",
    "event-unread": "One event of the log can no longer be read.",
    "event-not-recorded": "{readings} readings of a pass were not recorded: {why}.",
    "event-imported": (
        "An export was taken in: {taken} results were new. {known} were here already."
    ),
    # of an import
    "import-left-out": "Line {number} is left out: {why}.",
    "import-too-long": "Line {number} is left out: it is longer than {most} MiB.",
    "import-without": "Line {number}: its passes are left out: {why}.",
    "import-differs": ("Line {number} is left out: this log has another result {id}."),
    "import-unlinked": (
        "Line {number} names a later result, {later}. It is not in this log."
    ),
    "import-unknown": (
        "The field {field} is not known, so it is left out. It is in {lines} lines."
    ),
    "event-refused": "The log could not take one entry: {why}.",
    # settings and gear
    "units-mm": "Millimetres from now on; kept in {file}.",
    "units-inch": "Inches from now on; kept in {file}.",
    "sound-on": "Sound is on; kept in {file}.",
    "sound-off": "Sound is off; kept in {file}.",
    "gear-kept": "{name} is kept in {path}.",
}
