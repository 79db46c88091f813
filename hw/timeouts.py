"""Timeouts and retry intervals of all rooms, s.

One table for all rooms: it lies in `hw` because nothing lies lower. A time that is part
of what an instrument or a hand does (a contact that bounces, a plunger at rest) is none
of these and stands where it is used.

A slow machine is late with everything at once, ten to twenty times later than the one
this was written on. So where a wait ends in giving up, it is that much longer than what
was measured; where it ends in a sentence or in another attempt, it may be shorter.
"""

# Ports: gives up never.
PORT_FIRST_RETRY_S = 0.25  # until a port is opened again; a cable is back in 1 s
PORT_LAST_RETRY_S = 1.0  # to which that grows: a look costs a slow machine 3 % of it
PINS_RETRY_S = 2.0  # the same of pins, which nobody plugs while it runs
DEVICE_READ_S = 0.2  # that pyserial blocks in a read or a write, before stop is seen
READER_STALL_S = 1.0  # without a turn of the reading thread: it hangs, told once
UNREAD_STALL_S = 1.0  # that bytes wait unread and the loop goes on: the reader hangs
# without a reading of an instrument that sent: it is shown as silent, and read on
SILENT_S = 2.0

# The daemon and its service.
# systemd's, see systemd/: a daemon that hangs is started anew; an emulated Pi on a busy
# machine was silent for 20 s while it loaded its arithmetic
WATCHDOG_S = 60.0
# systemd's too, until the daemon is ready; an emulated Pi on a busy machine took more
# than the 90 s that systemd waits where nothing is said
START_S = 900.0
# until another daemon's socket answers; one that does not in time is taken to be alive
SOCKET_PROBE_S = 0.5
LISTENER_END_S = 20.0  # until a port that was listened to is let go; it takes 0.1 s

# The log. Only closing gives up, and only where the disk fails all that while.
LOG_FIRST_RETRY_S = 0.25  # after a failed commit
LOG_LAST_RETRY_S = 2.0  # to which that grows; R4 of a freed disk asks for 5 s
LOG_STALL_S = 2.0  # that a disk has not answered: told
LOG_CLOSE_S = 15.0  # for what still waits at the end; systemd waits 90 s
LOG_CLOSING_RETRY_S = 0.1
LOG_IDLE_LOOK_S = 1.0  # until an idle log is looked for at its path
LOG_FLUSH_S = 5.0  # until a caller is told that not all is saved yet
# the same of a client that asks what the log holds, or gives it lines; the latter is
# tried again until the disk fails
LOG_ASKED_FLUSH_S = 1.0
LOG_BUSY_S = 5.0  # that SQLite waits for another connection's lock
LOG_CHECKPOINT_BUSY_S = 1.0  # the same for the writer, which tries again later
LOG_SOUNDNESS_END_S = 15.0  # until a check of the file has heard that it is to end
LOG_HOLDER_S = 0.3  # until a process has written its number after it has the lock

# Clients.
ANSWER_S = 5.0  # without an answer: the daemon is said to be slow, and waited for
RECONNECT_S = (0.1, 0.2, 0.4, 0.8)  # between attempts; the last one repeats
EARLY_CONNECT_S = 0.5  # for the first connection; without it another is made later
# until a daemon that went away is back: systemd's watchdog, 2 s, and a start that takes
# 0.6 s here and 30 s under emulation, twice
RETURN_S = 180.0
RETURN_RETRY_S = 0.2
HANG_SILENCES = 25  # of ANSWER_S, before `doctor` says that the daemon hangs

# The demonstration.
DEMO_TELL_S = 8.0  # without anything happening: it is said what is waited for
DEMO_END_S = 60.0  # until its daemon is killed; more than LOG_CLOSE_S
