"""What `sweepgauge doctor` looks at, one file per matter: settings, instruments, ports,
rights, machine, pins.

Nothing here changes anything; it says what is wrong and what to do. Every function
takes the root of the files it reads, so that a test can lay out another machine.
"""
