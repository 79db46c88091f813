"""The forecast of a cut from all that is wrong with the saw and the sled, and what to
put right first.

Pure, without numpy at the import. Angles in rad, lengths in mm. A rotation is positive
counter-clockwise, seen from above; the angle error of a cut is the rotation of the edge
that lay on the sled fence against the edge that was cut.
"""
