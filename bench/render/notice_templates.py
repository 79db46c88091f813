"""The sentences that the daemon tells, one template for each code.

`bench.render.template` says what stands behind a value's name.
"""

from __future__ import annotations

from bench.render.template import entries

# why a pass cannot be used; "This pass cannot be used: " goes before it
BROKEN = entries(
    """
leap: the travel leaps by {size:length 0} at {at:station}. Was its zero pressed, or its
  unit switched?
gap: the {name}'s readings stopped for {seconds:.1f} s.
stopped: the {name}'s readings stopped.
stopped-early: the indicator's readings stopped {seconds:.1f} s before its end.
unit: the {name} was switched from {before} to {unit}.
hold: the {name} is on hold, maximum or minimum.
missed_edge: the {name} missed a step, so the sled's place is not known.
wiring: the wiring was changed.
away: the {name} went away.
silent: the {name} fell silent.
flooding: the {name} sends more than an instrument does.
unread: the {name} does not read.
"""
)

TEMPLATES = entries(
    """
# Passes.
pass-kept: {taken} of {wanted} kept.
number-kept: {value:length} kept.
number-kept-of: {value:length} kept, {taken} of {wanted}.
pass-measured: NOT RECORDED: {taken} of {wanted} measured.
returned: Returned to the start: good.
returned-first: That pass came toward you; only passes away from you count. Did you push
  it away from you? Then the travel counts backward. In the settings, turn "grows" under
  [travel] the other way.
returned-first-right: That pass came from the right; only passes to the right count. Did
  you push it to the right? Then the travel counts backward. In the settings, turn
  "grows" under [travel] the other way.
too-few-readings: Only {readings} readings came in that pass. Push slower. Or is the
  cable loose?
pass-elsewhere: That pass ran from {from:station} to {to:station} of travel. An earlier
  one ran from {began:station} to {ended:station}. Push over the same stretch. If the
  earlier one was wrong, take that one back.
not-whole: That pass was {length:length 0} long, the longest {longest:length 0}. Push
  right through to the end.
shown-not-whole: That pass was only {length:length 0} long, so it is taken back. A later
  one was {longest:length 0} long.
pass-not-straight: {why}
pass-interrupted: The {name} {how:away=went away|silent=fell silent|unread=does not
  read|flooding=sends more than an instrument does}; do this pass again.
settled-early: The verdict is sure already: no further pass is needed.
began-too-early: That movement began before READY, so it does not count.
too-short: too short for a pass
short-return: a short way back
return-of-refused: the way back of a pass that was not kept
return-of-undone: the way back of a pass taken back
mark-taken: {value:length 3} taken at {at:nominal}.

# What was taken back, and how a check ends.
mark-undone: Mark at {at:nominal} taken back.
marks-undone: undone
undone-by-hand: Taken back by hand.
press-undone: The press is taken back: no number was taken.
pass-undone: The last pass at {placement} is taken back.
nothing-to-undo: There is nothing to take back.
extended: {sweeps} more passes in every set-up.
check-given-up: The check was given up.
check-goes-on: The {check} goes on where it stood. Passes kept: {kept}. Set it up again
  as asked.
check-goes-on-without: The {check} goes on where it stood. Passes kept: {kept}. Set it
  up again as asked. Left out: {wrong}.
check-not-taken-up: The {check} begun before cannot go on: {why}.
given-up: The {check} check is given up. What was measured stays in the log.
daemon-ended: The measuring program was ended.
program-ended: The program ended during the pass.
readings-lost: Its readings were lost when the log was damaged.
not-concluded: No result: {why}.
move-noted: Noted: the {end} end moved {distance:length} {way:way}.

# The set-up's own tests.
lean-no-play: Leaning did not move the number, so the side is not proved. Is the
  indicator on the {side}?
lean-proved: The indicator stands on the {side}, as it should. Play {play:length 3}.
lean-wrong-side: Leaning shows that the indicator stands on the {side}. This set-up
  wants it on the {wanted}. Was the square turned over? Set it up as shown, then press
  Enter.
tap-passed: The number came back: the stand holds.
tap-failed: The number did not come back: it stands {off:length 3} off. Is the magnet
  on, the foot clean, every screw tight? Put it right, then hands off: the test begins
  again.
reading-wanders: The number does not hold still: it wanders over {spread:length 3}. At
  most {allowed:length 3} is allowed. Take your hands off the sled. Does the stand hold?
reading-creeps: The number does not hold still: it creeps or trembles. Take your hands
  off the sled. Does the stand hold?
number-moves: The number moves: good.
cables-swapped: The indicator moves as a sled does; the travel stands still. Are their
  cables swapped? Swap the two cables back. Or swap the ports under [indicator] and
  [travel] in the settings.
travel-stuck: The indicator moves and the travel stands still. If you are pushing, the
  travel is not read. Look at its cable, its wheel or its scale. No pass can be taken
  until it moves.
no-travel: No travel was seen since READY. If you pushed, the travel is not read. Look
  at its cable, its wheel or its scale. Are indicator and travel swapped?
sled-not-at-rest: The sled is not at rest, so no pass can begin. Let go of it. If it
  stands still, look at the travel's cable and head.

# The instruments.
instrument-not-open: The {name} is not opened yet.
instrument-reads: The {name} reads.
instrument-silent: The {name} has sent nothing for {seconds} s: is it on?
instrument-no-reading: The {name} says it has no reading: {means}. {advice}.
instrument-garbled: The {name} sends what cannot be read as {format}. Check baud rate,
  parity and format; `sweepgauge doctor` listens.
instrument-garbled-pins: The {name} sends what cannot be read as {format}. Check its
  wires, level shifter, invert and edge; `sweepgauge doctor` listens.
instrument-floods: The {name} sends over {frames} readings in a second. No instrument
  does so. Is it the right port? `sweepgauge doctor` listens.
travel-by-marks: Without a travel instrument you stop at {count} marks. They run from
  {first:nominal} to {last:nominal}.
unit-switched: The {name} was switched from {before} to {unit}.
reads-again: The {name} reads again.
on-hold: The {name} is on hold, maximum or minimum. Switch that off on the gauge; until
  then nothing counts.
missed-edge: The {name} missed a step, so the sled's place is not known. Push slower.
reading-held: The {name} jumped to {value:length 3}. Left out, {held} so far: dust, a
  jerk or its cable.
travel-held: The {name} jumped to {value:length 3}. Left out, {held} so far: a jerk or
  its cable.
press-without-reading: That press of the {name} gave no reading: {why}. Press again.
beat-stand-still: Stand still.
beat-move: Move to {at:nominal}.

# The live move.
live-unread: The indicator gives no reading. How far is left is not known.
live-not-heard: No reading comes from the indicator.
live-stand-fence: Stand the indicator on the sled, its tip on the sled fence. The tip
  goes {distance:nominal} from the pivot. Press Enter when it stands.
live-stand-arm-beyond: Stand the indicator on the sled, its tip on the square's arm. The
  tip goes {distance:nominal} farther from you than the pivot. Press Enter when it
  stands.
live-stand-arm-short: Stand the indicator on the sled, its tip on the square's arm. The
  tip goes {distance:nominal} nearer to you than the pivot. Press Enter when it stands.
live-lean: Lean the sled left and right and push it a little. The number must stand
  still. Then press Enter.
live-not-on-sled: Leaning the sled moved the number by {moved:length}. So the indicator
  does not stand on the sled. Stand it on the sled, press Enter, and lean again.
live-still-moves: The number still moves. Let it hold, then press Enter.
live-below-noise: At the tip the move is only {move:length}. The number trembles by as
  much. Put the tip farther from the pivot, or use leaves.
live-not-moved: The number has not moved. Does the tip touch? Is the screw slack?
live-past: Too far by {distance:rounded {uncertainty}}: move it back {way:way}.
live-wrong-way: {nearer:It went back|Wrong way}: move the {end} end {way:way}.
  {distance:rounded {uncertainty}} to go. {nearer:|If you did, the indicator stands on
  the other side.}
live-leave: Do not move it: tightening alone brings it there. Press Enter, then tighten.
live-there: There, and it holds. Press Enter, then tighten.
live-hands-off: Hands off now: see whether it stays.
live-to-go: {distance:rounded {uncertainty}} to go: move the {end} end {way:way}.
live-or-enter: Or press Enter: it is good enough to tighten.
live-aims-past: Go {distance:rounded {uncertainty}} past it: tightening draws it back
  {way:way}.
live-aims-short: Stop {distance:rounded {uncertainty}} short: tightening draws the rest
  {way:way}.
live-jumped: The number jumped by {distance:rounded {uncertainty}}. If the stand was
  bumped, end live and check again.
live-tighten: Tighten.
live-drawn: Tightening has drawn it {distance:rounded {uncertainty}} {way:way}.
live-too-far: {distance:rounded {uncertainty}} too far: move it back {way:way}.
live-short: {distance:rounded {uncertainty}} short: it must go further {way:way}.
live-enter-tight: Press Enter when it is tight.
live-slack-off: Or slacken the screw and undo: what it drew is then allowed.
live-slackened: Slacken the screw. What it drew is now allowed for.
live-tight: Tight.
live-verify: Take the verifying passes.
live-left: The live move is ended.

# The leaf proof.
leaf-rest: Rest the tip on something flat and hard. Press Enter when it rests.
leaf-hold-still: Hold it still.
number-wanders: The number does not hold still: it wanders over {spread:length 3}. At
  most {allowed:length 3} is allowed.
number-creeps: The number does not hold still: it creeps or trembles.
leaf-indicator-gone: The indicator went away: nothing is proved. Plug it in, then begin
  again.
leaf-no-reading: No reading comes: is the instrument on? Press its send button, if it
  has one.
leaf-slip: Slip the leaf of {leaf:length} under the tip. Let the tip rest on it. Press
  Enter when it does.
leaf-proved: I saw {seen:length 3 1} going in: right unit, right way.
leaf-wrong-way: The number went {seen:length 3 1} the wrong way. A leaf pushes the
  plunger in. Nothing is kept. Find the indicator again by pressing its plunger in.
leaf-inches: The leaf is {leaf:length 3 1}, the number changed by {seen:length 3 1}:
  1/{part:g}. The instrument shows inches, but is read as millimetres. Nothing is kept.
leaf-millimetres: The leaf is {leaf:length 3 1}, the number changed by {seen:length 3
  1}: {factor:g} times. The instrument shows millimetres, but is read as inches. Nothing
  is kept.
leaf-decimals-less: The leaf is {leaf:length 3 1}, the number changed by {seen:length 3
  1}: 1/{part:g}. The decimal point is read in the wrong place. Nothing is kept. Set
  decimals under [indicator] in the settings.
leaf-decimals-more: The leaf is {leaf:length 3 1}, the number changed by {seen:length 3
  1}: {factor:g} times. The decimal point is read in the wrong place. Nothing is kept.
  Set decimals under [indicator] in the settings.
leaf-nothing: The number did not change ({seen:length 3 1}): is the leaf under the tip?
leaf-other: I saw {seen:length 3 1} where the leaf is {leaf:length 3 1}. Is it that
  leaf, and clean? Nothing is kept; prove it again.
leaf-other-out: The plunger went out by {seen:length 3 1}. A leaf pushes it in, here by
  {leaf:length 3 1}. Is it that leaf, and clean? Nothing is kept; prove it again.
leaf-cure: It sends no unit. In the settings, default_unit = "{unit}" puts that right.
leaf-cure-resolution: It sends no unit. In the settings, default_unit = "{unit}" puts
  that right. The resolution is written with it.

# Which cable is which instrument.
setup-press: Press the indicator's plunger well in. Let it out again.
setup-push: Push the sled away from you, by a hand's width. Leave it there.
setup-port-gone: {name} went away; nothing was kept.
setup-port-gone-midway: {name} went away while it was watched. Plug it in, then begin
  again.
setup-nothing-heard: Nothing has moved yet, and no instrument is heard. Plug its cable
  in and switch it on. Or press its send button.
setup-nothing-moved: Nothing has moved yet. These are heard: {names}.
setup-too-far: {name} moved by {far:distance}: no plunger goes so far. Was it the sled?
setup-too-little: {name} moved by only {far:distance}: move it {least:length} at least.
setup-push-on: Push on, away from you.
setup-stays: {name} moved by {far:distance} and stays there: let the plunger out again.
setup-stayed: {name} moved by {far:distance} and stayed there: no plunger does.
setup-came-back: {name} moved by {far:distance} and came back. Leave the sled where you
  pushed it.
setup-indicator-grows: {name} went {far:distance} and back: it is the indicator. Its
  number grows as the plunger goes in.
setup-indicator-falls: {name} went {far:distance} and back: it is the indicator. Its
  number falls as the plunger goes in.
setup-travel-grows: {name} went {far:distance}: it is the travel. Its number grows as
  the sled goes away from you.
setup-travel-falls: {name} went {far:distance}: it is the travel. Its number falls as
  the sled goes away from you.
setup-inches: It shows inches, so the screen will show inches too.
setup-was-other: Until now it was the {other}, which then has no cable.
setup-changes: In {file}: {changes}.
setup-nothing-kept: Nothing is kept: {why}.
setup-not-writable: Nothing is kept: {path} cannot be written: {why}. Put that right and
  do it again, or write there: {by_hand}
setup-cured: Kept in {file}. Now prove it again.
setup-kept: Kept in {file}: {name} is the {what}.

# The state of a cable.
cable-listening: Listening to it.
cable-asleep: It has fallen silent: is the instrument asleep?
cable-held: It is held by {holders}: close that program.
cable-busy: Another program holds it: close that program.
cable-denied: You may not open it. Let the user of the measuring program into the group
  dialout.
cable-gone: It went away: was the cable pulled?
cable-no-port: {why}.
cable-changed: What it sends has changed: listening to it again.
cable-silent: It sends nothing. Switch it on and let it send by itself. Or press its
  send button.
cable-text: It sends lines of text at {baud} baud, in no known form.
cable-unknown: What it sends has no known form. `sweepgauge doctor` says more.
cable-reads: It reads: {format} lines at {baud} baud.
cable-reads-parity: It reads: {format} lines at {baud} baud, {parity} parity over seven
  bits.
cable-reads-seven: It reads: {format} lines at {baud} baud, seven bits, two stop bits.

# Events of the log.
event-learned: The {what} was found and kept in the settings.
event-learned-values: The {what} was found and kept in the settings: {kept}.
event-leaf-proved: A leaf of {leaf:length 3} moved the number by {seen:length 3}. Right
  unit, right way.
event-leaf-unproved: A leaf of {leaf:length 3} moved the number by {seen:length 3}:
  nothing proved.
gear-event: {jig}: {what} on {date}{note}.
gear-event-noted: Noted for {jig}: {what}. Its charts begin anew from {date}.
event-clock-set: The clock of this machine was set by a network.
event-opened: The log was opened by {program}.
event-unread: One event of the log can no longer be read.
event-not-recorded: {readings} readings of a pass were not recorded: {why}.
event-imported: An export was taken in: {taken} results were new. {known} were here
  already.

# Whether the log is written.
recording: recording
saving: saving ...
not-recorded: {why}
log-refused: Something could not be saved: {why}.
log-again: The log is written again; all that waited is saved.
log-again-lost: The log is written again; not all that waited could be saved.

# Of an import.
import-left-out: Line {number} is left out: {why}.
import-without: Line {number}: its passes are left out: {why}.
import-differs: Line {number} is left out: this log has another result {id}.
import-unlinked: Line {number} names a later result, {later}. This log does not have it.
import-unknown: The field {field} is not known, so it is left out. It is in {lines}
  lines.
event-refused: One entry could not be saved in the log: {why}.

# Settings and gear.
units-mm: Millimetres from now on; kept in {file}.
units-inch: Inches from now on; kept in {file}.
sound-on: Sound is on; kept in {file}.
sound-off: Sound is off; kept in {file}.
gear-kept: {name} is kept in {path}.
"""
)
