"""The sentences of remarks on saw, straight fences, widths, play and test boards."""

from __future__ import annotations

from bench.render.template import entries

# as in bench.render.remark_templates
SAW_REMARKS = entries(
    """
# Blade, plate and rip fence.
one-spot: Both places were read on one spot of the blade. So its tilt, warp and dish do
  not count.
end-float-usual: The arbor is taken to float by {float:length} either way. That is
  common practice, no source. Give your own saw's figure if you know it.
spots-not-by-turns: Front and rear were not read in turn. So how well a slid indicator
  comes back is not known. Read front, rear, front, rear, and slide it anew each time.
carriage-float-usual: A slid indicator is taken to come back within {float:length}. That
  is common practice, no source.
spots-near: Front and rear are only {apart:station} apart. Places nearer the rim of the
  blade body give a sharper answer.
one-turn: With one turn of the blade its tilt is in the answer. Take four turns, evenly
  spread, or follow one spot.
turns-once: Each of the {turns} turns had one pass. That hardly shows how passes
  differ. Take three passes a turn.
two-turns: Two turns of the blade leave its warp in the answer. Four, evenly spread,
  take most of it out.
turns-uneven: The turns of the blade are not evenly spread. So its tilt does not cancel.
dished-plate: A dished plate stays in the answer unless the pass is even. It must reach
  as far before the arbor as behind it.
no-saw-blade: No saw is named: there is no limit to judge by. The rip fence's side is
  not known.
no-saw-for-toe: No saw is named: there is no limit to judge by. The rip fence is taken
  to stand right of the blade.
no-saw-wobble: No saw is named: there is no limit for the wobble.
blade-exact: The blade's direction came without a give or take. It is taken as exact.
blade-not-given: The blade's own direction is not known. It is taken to run with the
  slot. Check blade and slot too: the rip fence may still close.
closes: It {surely:closes|seems to close} at the rear by {closing:slope}. Work can
  bind behind the blade and be thrown back at you. Open it.
no-opening-good: With this set-up no opening can be called good enough. The limit would
  have to be {least:slope} or more.
turn-unread: No mark was read over {degrees:.0f} degrees of the turn. The plate may
  swing more there. Read marks all round.
few-marks: Only {marks} marks were read: they may miss a warp. Read one more halfway
  between two of them, or {better} marks. Read each twice.
three-turns: Three marks read once each do not show how readings differ. Read more
  marks.
rim-unknown: Read at a radius of {radius:station}. Nearer the rim the tilt grows in
  proportion. Give the rim's radius to have it worked out.
rim: Read at a radius of {radius:station}. At the rim, {rim:station} out, the tilt is
  {tilt:length}. {over:That is over what was set for the saw.|}
turn-saw: First unplug the saw and see the blade at rest. Move the {part:blade=blade
  carriage|rip fence=rip fence}'s rear {shift:give {uncertainty}} to the {way}. That is
  for {over:station} of its length. Hold the front in its place. {part:blade=On some
  saws the table is shifted instead. Then move the table's rear as much to the
  {other_way}.|rip fence=It then opens a little at the rear.} Which bolts, in what
  order, how tight: the saw's manual says. Then take the check again.
move-saw: First unplug the saw and see the blade at rest. Move the rear of the
  {part:blade=blade's carriage|rip fence=rip fence} {turn:slope {uncertainty}} to the
  {way}. Hold the front in its place. How: the saw's manual says. Then take the check
  again.

# The sled fence's form.
both-ways: Not every set-up has a pass from left to right. Passes both ways are used.
proud: Something stands proud from {from:station} to {to:station} in every pass. Wipe
  the face and take the passes again. What stays counts as the sled fence.
set-aside: {readings} readings were left out as dust, gaps or slips. Most of them are
  near {near:station}.
two-differ: The two passes at {placement} differ by {apart:length} near {near:station}.
  One of them was disturbed: take a third.
straightedge-as-told: One set-up: the straightedge is trusted as straight as you said.
  Roll it over to know.
straightedge-unknown: One set-up shows the sled fence and the straightedge together.
  Nothing was said of the straightedge. {bound:length} either way is allowed for it.
  Roll it over to know, or say how straight it is.
straightedge-bends-usual: A straightedge gives way under a hand that presses on it. Here
  that is some {bend:fine}, alike both times (common practice, no source). Push low at
  the indicator's base. Two passes pressed hard would show it. Or say how thick and how
  high the straightedge is.
straightedge-bends: Pressed sideways as a hand may, the straightedge gives way by
  {gives:fine}. Push low at the indicator's base.
straightedge-pressed: Pressed hard, the straightedge gave way by {gives:length 3 1}. A
  light hand bends it too: {off:length 3 1} is taken off for that.
straightedge-stiff: Pressed hard, the straightedge gave way by {gives:length 3 1}. A
  light hand bends it too little to matter.
straightedge-dragged: The straightedge lay further round in each pass. It is dragged
  along, which bows the answer by some {bows:length}. Hold it down, and begin anew.
straightedge-crooked: The straightedge came out {crooked:length} crooked, more than the
  sled fence. Was the indicator's direction turned with the straightedge? Then the forms
  of the two are mixed up.
set-ups-alike: Both set-ups show the same form. The straightedge is very straight, or
  was not rolled over.
profile-short: The passes reach from {from:station} to {to:station}. That is less than
  half of a {board:station} board beside the blade. Only what was read is judged, by its
  own length.
profile-ends: The passes end before a {board:station} board does. Boards are judged only
  as far as the passes reach.
board-turns: A board from {from:station} to {to:station} lies as it is pushed. Pushed
  within {either_side:station} of its middle it lies between {low:slope+} and
  {high:slope+}.

# Widths of slots, runners and strips.
width-odd: {placement} at {at:station} reads {width:fine}, the others there about
  {others:fine}. Was it misread? Measure it again.
slot-far-from-runner: {slot} and {runner} are {gap:fine} apart. Was the caliper at zero?
  Were both measured in the same way?
tight: Tight {one_place:{from:station}|{from:station} to {to:station}} from the front
  edge of the table. Take {off:fine} off in all to let it through. Take
  {off_to_run:fine} off for it to run with {clearance:fine} of clearance. Take a little
  at a time, and measure again.
nearly-tight: It fits, with {spare:fine} to spare. Closest: {places:station} from the
  front edge of the table. Under {least:fine} it is likely to bind. Take {off:fine} off
  in all there.
loose: Loose: {play:fine} of play, over {most:fine}. Lean the sled against the same wall
  for every cut. Or pack one side of the runner by {pack:fine}. Or make a new runner.
runner-longer: The runner is longer than the slot that was measured. The figures are for
  the places with most of it inside.
one-runner: Only the {side} runner was measured. A second one can take play away.
widths-only: Widths do not show a bowed slot. A caliper is too coarse for the last
  hundredth. Side play measured on the saw is the better number.
measure-the-play: A caliper cannot decide this. Measure the side play on the saw with
  the indicator.

# Play of the sled in its slots.
pair-lacking: Only {there} was read, not {lacking}. One alone says nothing. Take both.
read-once: Read once each way: how far {quantity} differs is not known. The true give or
  take is larger.
leaned-wrong: Leaned right the reading fell. The indicator stands on the left, or the
  leans were mixed up.
twisted-wrong: Twisted right the reading fell. The indicator stands on the left, or the
  twists were mixed up.
play-little: Under {limit:length} in all: it is likely to bind.
play-good: Good play: it binds under {binds:length} and is loose over {loose:length}.
play-much: Over {limit:length} in all: loose. Lean the sled on one wall for every cut.
  Or fit the runners.
cuts-scatter: Held freely, cut angles differ by up to {yaw:slope}. Leaned on one wall
  they do not.
shift-free: Held freely, the sled may shift by {play:length 3 1}. One reading does not
  show how well it comes back.
shift-free-and-leaned: Held freely, the sled may shift by {play:length 3 1}. Leaned left
  it came back within {left:length 3 1}, leaned right within {right:length 3 1}.
runner-usual: Twisted {at:station} from the runners' middle. Runners of {runner:station}
  are taken (common practice, no source). Say how long yours are. Nearer than half of
  that, some twist is missed.
place-usual: The twist's place may be off by {off:station} either way. That is by eye
  (common practice, no source). Measure it and pencil it. Then say how far it may be
  off.
twisted-near: Twisted {at:station} from the runners' middle. Read it at {better:station}
  or more. Nearer, leaning is mixed up with twist.
plays-differ: Leaned, the sled showed {leaned:length} of play. Twisted, over the
  runners' length, it showed {twisted:length}. Was it pressed right to both walls? Do
  the slots pinch at one end?

# A test board beside the passes.
one-width: One width an end does not show how well it repeats. The caliper's own limit
  is used instead.
one-strip: A chip under the board in one cut would not show. Take passes too. Or cut
  two strips, the second after four more turns.
strips-apart: The strips differ by {apart:slope}. Did a chip lie under the board in one
  cut? The give or take allows for it.
turns-not-four: A four-cornered board comes back to its first edge after 4 turns. You
  said {turns}: the taper is shared among that many cuts.
cuts-as-passes: Each cut is taken to differ by {scatter:slope}. {passes} earlier passes
  of this sled differed so.
cuts-held-usual: How much the cuts differ is not known. Each is allowed {usual:slope},
  as for a held sled. That is common practice, no source. Passes of this sled in the log
  would show it. With care it is then give or take {then:slope}, not {now:slope}.
cuts-in-the-play: Each cut may fall anywhere in the play. Lean the sled on one wall in
  every cut, and say which. Or take passes: the log then shows what that leaves.
cuts-unknown: How far the sled twists in its slots is not known. Each cut is allowed
  {usual:slope} for it. Measure the side play to know, or take passes. It may then be
  give or take {then:slope}, not {now:slope}. Or lean the sled on one wall in every cut.
  Say which wall.
widths-differ: The widths at the {end} end differ by {apart:fine}. Was one misread, or
  taken elsewhere?
much-taper: The strip is {taper:fine} wider at one end than at the other. Was it cut
  along the first edge, after all the turns?
boards-of-that-width: The answer is for a board of {board:station}. On a bowed sled
  fence other boards lie differently.
boards-as-wide: The answer is for boards as wide as this one. On a bowed sled fence
  other boards lie differently.
pass-exact: The result of the passes came without a give or take. It is taken as exact.
agrees-with-passes: It agrees with the passes{dated: of {day}|}. The two differ by no
  more than both can tell.
differs-from-passes: It differs from the passes{dated: of {day}|}. The two differ by
  more than both can tell. The likely causes follow, the likeliest first.
cause-ends-mixed: Perhaps the strip's ends were mixed up. Or the board lay on the other
  side of the blade. Turned round, the two agree.
cause-turns: Perhaps the board was turned {turns} times, not {said}. Then the two agree.
cause-wall: Perhaps the sled was held against another wall in the cuts. Or it was held
  between the walls.
cause-bow: The sled fence is bowed. The board rests on another part of it than the
  handle did.
cause-chip: Perhaps a chip or dust lay between board and sled fence. Or an edge was not
  pressed home.
cause-cut: Perhaps a cut was not pushed clear past the rear teeth. Or the blade leans,
  and the rear teeth cut too.
cause-moved: Perhaps the sled fence moved between the two. Was it tightened, leaned on
  or knocked?
cause-square: The square was not turned over in the passes. Its own error is in them.
"""
)
