"""The subjects of `sweepgauge doctor`, one file each; each gives diagnostics.

Nothing here changes anything. Every function takes the root of the files that it reads,
so that a test can lay out another machine.
"""
