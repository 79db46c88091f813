"""The sentences of a finding's remarks, one template for each code.

Beside a remark's own values a template knows `placement`, `pass` and `where` (`At
handle-left`, or `In this check` for a remark about all set-ups).
`bench.render.template` says what stands behind a value's name.
"""

from __future__ import annotations

from bench.render.saw_remark_templates import SAW_REMARKS
from bench.render.template import entries

TEMPLATES = SAW_REMARKS | entries(
    """
# What speaks against an answer: no verdict and no move.
frozen: At {placement} the number {span:moved by {span:length} only|did not move}. Does
  the tip touch? Is the plunger free, the display not on hold? Slip a sheet of paper
  under the tip and draw it out. The number must move.
frozen-spots: {where} {read} readings are one and the same number. Is the display on
  hold? Do the tip or the jaws touch? Lift the plunger, or open the jaws, before every
  reading.
stood: In a pass at {placement} the number stood still. That was from {from:station} to
  {to:station} of travel. Did the tip leave what it touches? Did the plunger stick, or
  the display hold? Put it right and take that pass again.
backward: At {placement} the first pass came toward you, by the travel's count. Did you
  push? Then the travel counts backward, and the answer is the wrong way. Set grows =
  "{grows:away|toward}" under [travel] in the settings and begin anew. Did you draw the
  sled back? Take that pass back, then push.
short: {where} the passes cover no more than {length:station}. {better:station} at least
  would tell more. Is the travel in the right unit, inches or mm?
steep: At {placement} the reading changes by {slope:.2f} mm each mm of travel. Nothing
  on a saw does so. Are the cables of travel and indicator swapped?
of-inches: {where} the readings go in steps of {count} mm. No shop indicator shows such
  fine steps. Were they read in inches, or in mm?
half-thou: {where} the readings go in steps of {count}, as in inches. Was the indicator
  left on inches? If it shows mm, write its resolution in the settings.
finer: {where} the readings go in steps of {count:length}. The settings say
  {declared:length}, which is coarser. Were they read in inches, or in mm? If the
  indicator has another resolution, correct the settings.
coarser: {where} the readings go in steps of {count:length}. The settings say
  {declared:length}, which is finer. Were they read in inches, or in mm? If the
  indicator has another resolution, correct the settings.
unlike: The set-ups were read in steps of {counts:length}, at {set_ups} in turn. Were
  some read in inches?
lean: The lean test at {placement} puts the indicator on the {right:right|left}. You
  said {right:left|right}. Do not trust which way it is out.
spread: The readings at {placement} lie up to {apart:length} apart. Was one misread, or
  read in the other unit, inches or mm? Take them again.
set-ups-apart: The set-ups read {apart:length} apart. No blade and no sled moves that
  far. Was zero pressed between them, or the stand moved? Was one read in inches? Take
  them again.
thin: The widths are {least:.3f} to {most:.3f} mm. Were they read in inches? Then give
  them in inches.
mixed: There are widths of {least:.2f} and {most:.2f} mm. Was {placement} read in
  inches? Measure it again.
board-unlike: Board and passes differ. Find out first which of them is wrong.

# Why a pass is not used; "Pass 3 at handle-left is not used." goes before it.
pass-few-readings: It is too short: only {readings} readings are left to fit.
pass-without-travel: The travel does not move.
pass-few-places: It is too short: it was read at {places} places only.
pass-dirty: {share:.0%} of its readings are left out as dust or slips. More than a third
  is too much. Take it again.
pass-jumps: The reading jumps by about {size:length} at {at:station} and stays there.
  Was the stand bumped, zero pressed, or the square moved? Take it again.
pass-short: It covers only {covered:station}, under {share:.0%} of the longest there.
pass-elsewhere: It ran from {from:station} to {to:station} of travel. The others ran
  from {began:station} to {ended:station}. Push over the same stretch.
pass-disturbed: It differs from the others by {apart:length} near {near:station}. Was
  the stand bumped, or did something slip?

# Of passes, whatever the check.
stretches-apart: The passes share only {common:station} of {shortest:station} of travel.
  So a bow of the arm does not cancel.
stretches-differ: The passes cover different stretches of the travel. Only the common
  {common:station} of {shortest:station} are used. They reach from {from:station} to
  {to:station}.
grid-finer: At {placement} the readings go in steps finer than {declared:length}. That
  is what the settings say. Were they read in inches, or in mm?
sticks: At {placement} the number stands still, then jumps, again and again. The plunger
  sticks, or the tip catches. Free it: a drag hides the slope.
pass-apart: {pass} at {placement} differs from the others by {apart:slope}. Was
  everything seated and held as before? It still counts. Take it again if something was
  in the way.
ways-apart: At {placement} the passes back differ from the others by {apart:slope}.
  Play, late readings or a dragging plunger do that. Only passes away from you count.
ways-differ: At {placement} the passes back differ from the others by {apart:length}.
  Late readings or a dragging plunger do that. Only passes from left to right count.
late: The {which}'s readings come about {late:time} later than the {other}'s. That bends
  the answer. Write late = "{late:time}" under [{which}] in the settings. If a figure
  stands there already, add to it. Then take the check again.
backlash: At {placement} the reading is {size:length} {rise:higher|lower} on every way
  back. Backlash, a dragging plunger, late readings or the other wall do that. It is
  alike in all passes that count.
return-error: At {placement} the reading came back {error:length 3 1} off, more than
  play explains. Was the stand bumped? Does it creep, or does the indicator warm up?
  The give or take allows for it.
creep-unseen: At {placement} few passes were taken, and none back. So creep would not
  show. Take six passes, or passes back too.
form-repeats: In every pass at {placement} the number jumps at {at:station} of travel.
  It jumps by {size:length}. What repeats at one place belongs to the edge: a dent. It
  is kept. Begin after it, or end before it, to leave it out.
return-crept: The number came back {error:length 3 1} off in both set-ups alike. The
  stand creeps, or the indicator warms up. That cancels in the sled fence. The square's
  give or take allows for it.
return-unequal: The number came back {error:length 3 1} off, not alike in both set-ups.
  Was the stand bumped? Does the stand creep? The give or take allows for it.
return-turned: After the way back the sled lay turned by {turned:slope}. Only passes
  away from you count, so the answer stands.
leans-differ: Leaned at {low} the sled showed {less:length} of play, at {high}
  {more:length}. Was it pressed right to both walls? Was something in the slot?
one-pass: One pass a set-up does not show how much passes differ. {source:log=How
  earlier passes in the log differ|play=The twist that the slots allow|usual=A generous
  figure} is used instead.
scatter-grew: Today's passes differ more than those in the log. Look for what is loose.
  Take three more.
walls-mixed: Some passes were held against one wall, some against the other ({walls}).
  The answer lies between the two.
wall: The answer is for a sled held against the {wall} wall.
limit-too-fine: With this set-up even a perfect result could not be called good. It is
  sure to {least:slope} at best; the limit is {limit:slope}.
shift-stand: The indicator's coarse steps limit this answer most. Shift its stand from
  pass to pass. The reading must change by {low:length} to {high:length}. Then more
  passes average the steps out.

# The sled fence by a square.
either-side: The sled fence may be out to either side. Make no move before that is
  settled.
yaw-unknown: How far the sled twists in its slots is not known. So the answer is for the
  sled as it was held. Measure the side play to know.
hold-unsaid: The answer is for the sled as it was held. Its runners let it twist by
  {play:slope}. Hold it in every cut as in these passes. Write that wall down with the
  sled, as hold in the settings.
stand-shifted: The stand touched the arm {by:length} further along in one set-up. Marks
  on the arm's edge show it, and it is allowed for.
stand-unseen: The arm bows {bow:length} over {over:station}. Where the stand touched it
  in the two set-ups cannot be seen. Pencil the start on the arm, and begin there both
  times.
slot-curved: The slot turns the sled by {turn:slope} over {over:station} of travel. The
  answer is for the middle of it. A short cut at either end may be out by {half:slope}
  more.
set-ups-usual: How far set-ups differ here is not known yet. A usual figure is used
  instead. After a few checks with this square the log will tell.
rests-on-log: {passes:The give or take rests on {passes} earlier passes here.
  |}{checks:How far set-ups differ is known from {checks} earlier checks.|}
side-as-said: Which side the indicator stood on is not proved. {proof:unleaned=No lean
  test was made.|without-play=The lean test showed no play.} On the other side, the way
  is the opposite. Check again after the move to be sure.
no-sled: No sled is named. Its tolerance and its pivot are not known. So there is no
  verdict and no move.
handle-stretch: The answer is for the stretch where the handle rested. On a bowed sled
  fence other boards lie differently.
square-as-measured: One set-up: the square's error is known from before. That holds for
  the same edge and stretch.
quick-inherits: Quick check: the square's error is the mean of {count} measured before.
  Wall, indicator and saw are those of the whole check of {whole}.
square-as-told: One set-up: the square is trusted within its tolerance. Turn it over to
  measure its error.
square-unknown: One set-up, and nothing is known of the square. The answer is the sled
  fence and the square together. A poor square is out by {poor:slope} (common practice,
  no source). Turn the square over and take passes again. Or name a square with its
  tolerance.
square-changed: The square's error came out {off:slope} off what it was before.
square-over-tolerance: The square came out {off:slope} off, more than its tolerance.
square-poor: The square came out {off:slope} off. A square for setting out should be
  better.
square-not-turned: {near_zero:The sled fence came out near dead square too. A set-up
  where nothing was turned comes out so. |}Was the square turned over? Was the indicator
  on the same edge, and the side as said? {near_zero:Take the other set-up again before
  you trust this answer.|Or was the square dropped?}
touch-away-unknown: The tip was not beside where the front teeth cut. What that adds
  is not known, so it is left out. Say how straight the slot is and how long the runners
  are.

# Two mitre fences by a 45-degree square; leaning out of plumb.
mitre-either-side: The angle between the fences may be out to either side. Make no move
  before that is settled.
right-angle-as-measured: The square's right angle is the one measured before.
right-angle-as-told: The square's right angle is trusted within {half:slope}. Take its
  two set-ups against a batten to know it.
right-angle-unknown: Nothing is known of the square's right angle. A poor one is out by
  {poor:slope} (common practice, no source). Take its two set-ups against a batten. Or
  name a square with its tolerance.
corners-apart: On each fence the square's sharp corners came out otherwise, by
  {apart:slope}. Was corner A taken for B? Was a set-up not turned over? Check the
  pencil marks and take it again.
mitre-swung: The fences stand square to each other. But both are turned
  {way:counter-clockwise|clockwise} by {swing:slope}. Joints close, but mitres of one
  side come out longer.
mitre-fences-unknown: The angle between the fences is known. Which of the two is out is
  not known. Turn the square over and take the other two set-ups.
mitre-other-stays: The {fence} fence stays as it is: it is good enough.
mitre-move-too: Then move the {fence} fence too, at right angles to its face. Move its
  {end} end {distance:length} {way:away=away from you|toward=toward you}. Give or take
  {uncertainty:length}.
heights-alike: Low and high read the same in every set-up. Was the indicator slid up the
  square's edge between them?
square-not-plumb: The square came out {off:slope} off. Was it the same edge in both
  set-ups? Was there nothing under the handle?
seats-apart: Stood anew, the square read {apart:slope} otherwise at {placement}. Was
  there grit under it? The give or take allows for it.
seated-once: The square stood but once each way. Grit under it would not show. Lift it,
  wipe under it, and read each way again.

# The move of a sled fence, step by step.
move-of-fence: {fence:left=Left|right=Right} fence: move it at right angles to its face.
move-end: Move the {end} end {way:away=away from you|toward=toward you} by
  {distance:give {uncertainty}}.
move-at: Do it at the {place}, {reach:nominal} from the pivot.
move-no-leaves: No leaves are listed: use a shim of that thickness. Or do it live.
move-leaf-too-thick: Even the thinnest leaf is too thick. Do it live, with the indicator
  on the sled.
move-leaves: Take {many:the leaves|the leaf of} {leaves:stack}.
move-stop-off-leaves: Hold the {many:leaves|leaf} against the working face there. Set a
  stop against the {many:leaves|leaf} and clamp it. Take the {many:leaves|leaf} out and
  slacken the screw. Bring the sled fence to the stop and tighten.
move-leaves-in-gap: Set a stop against the bare working face there and clamp it. Slacken
  the screw and move the sled fence {way:away=away from you|toward=toward you}. Slip the
  {many:leaves|leaf} between face and stop. Bring the sled fence up until the
  {many:leaves just fill|leaf just fills} the gap. Tighten, and take the
  {many:leaves|leaf} out.
move-stack-short: The leaves are {rest:length} short: do the rest live.
move-stack-over: The leaves are {rest:length} too thick: stop that much short of them.
move-jack-screw: Or turn the jack screw that way. Its pitch is {pitch:length}. Turn it
  {turns:clock}.
move-then: Then {then}.

# Of every check, when it is concluded.
option-ignored: Option {option} {problem}. It is left out.
lean-with-play: Lean test at {placement}: play {play:length 3 1}. The indicator stood on
  the side that was wanted.
lean-without-play: Lean test at {placement}: no play was seen. On which side the
  indicator stood is not proved.
tap-back: Tap test at {placement}: the number came back to within {back:length 3 1}.
tap-back-at-last: Tap test at {placement}: the number came back to within {back:length 3
  1}. Before that it stayed {off:length 3 1} off.
tap-off: Tap test at {placement}: the number never came back. It stayed {off:length 3 1}
  off.
no-move-in-doubt: Clear up that doubt first; then a move is given.
no-lever: How far the screw of {jig} is from its pivot is missing. Without it no move
  can be told. Give it with the sled.
move-too-small: The move is too small to make.
moved-wrong-way: The move went the wrong way.
hardly-moved: It hardly moved.
moved-too-far: The move went too far. Is the distance to the stop right?
clock-jumped: {seconds:jump} during this check. Its date may be wrong, its readings are
  not.

# Of a finding that an earlier version recorded with sentences only.
noted: {text}
noted-square-doubted: {text}
"""
)
