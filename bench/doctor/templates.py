"""The doctor's sentences by code: the finding, and after the bar the advice.

Values stand in braces.

Written as the tables of `bench.render` are; see `bench.render.template.entries`.
"""

from __future__ import annotations

from bench.render.template import entries

# something is wrong; there is always something to do
FAULTS = entries(
    """
air-unknown: the sensor {sensor} shows nothing that air can be | look at its wires;
  measuring goes on, and results say nothing of the air
axes-mixed: axes {axes} come mixed | say which scale this is: axis = "{axis}"
beyond-range: {port}: its numbers are beyond range_mm: {why} | bring it back into that
  range; or take out range_mm, or make it wider
channels-mixed: channels {channels} come mixed{mute} | say which gauge this is:
  channel = {choice}
clock-wrong: it says {date}{unpowered} | connect to a network for a minute, or: sudo
  date -s '2030-01-31 10:00'. Measuring goes on; dates are marked
counts-only: it sends counts; the settings do not say how far one is | per_count =
  "0.005 mm", or whatever its scale has; push it 100 mm and see how many counts come
daemon-ended: it ended the talk: {error} | see what it says: journalctl -u sweepgauge
  -e
daemon-hangs: {words} | is the machine busy? else: sudo systemctl restart sweepgauge
disk-denied: {folder} may not be written by this user | sudo chown -R $USER {folder},
  or another place with --log; the service has its own
disk-full: {mib:.0f} MiB free for the log in {folder} | make room: when it is full,
  measuring goes on and nothing more is recorded
disk-read-only: {folder} is read-only | give the log a place of its own that can be
  written: --log, or the overlay of the card off
display-mode: the display is in a mode ({which}): what it sends is not the reading of
  the moment | switch hold, maximum and minimum off on the instrument
frames-unread: {where}: {words} | {advice}
group-denied: {path} may not be opened by {user}; the group {group} may | {advice}
instrument-says: {words} | see what its display says
lgpio-broken: {names}: the library lgpio does not start: {words} | sudo apt install
  python3-lgpio, in an environment made with --system-site-packages
lgpio-empty: {names}: the lgpio installed is an empty one | sudo apt install
  python3-lgpio, in an environment made with --system-site-packages
log-is-folder: the log {log} is a folder | name a file, such as {example}: --log,
  SWEEPGAUGE_LOG
log-not-recorded: {log}: {recording} | see disk below; measuring goes on meanwhile
log-troubles: in the last 24 hours it {listed} | keep a copy: `sweepgauge log export`;
  then put in a new card, cards wear out
login-console: the login console is on /dev/serial0 and answers whatever the instrument
  says | console off: sudo raspi-config nonint do_serial_cons 1; port on: sudo
  raspi-config nonint do_serial_hw 0; then restart
login-older: {user} is in the group {name}, but this login began before that | log out
  and in again (or: newgrp {name})
many-rejected: {rejects} of {frames} frames were rejected since it was opened | check
  the cable, its length and what runs beside it; `sweepgauge capture` keeps bytes for
  a report
no-gauge-word: the board tells where the scale is; no gauge is heard | is the gauge on
  and wired to the board? If this is the travel: per_count = "0.005 mm", or what its
  scale has
no-pins: this machine has no pins, and the settings wire {names} | take [panel] and
  the pins out of the settings on this machine; the rest works without
no-whole-frame: {where}: nothing whole came meanwhile | look again; {report}
not-a-port: {path} is {what}, not a serial port | name a device: ls -l
  /dev/serial/by-id
not-a-socket: {path} is there and is not a socket | remove it, or name another with
  --socket
not-as-set: {words} | {advice}
not-in-group: {user} is not in the group {name}, which may open {what_for} | sudo
  adduser {user} {name}, then log out and in again
numpy-broken: numpy does not start: {words} | on a 32-bit system: sudo apt install
  python3-numpy libopenblas0, in an environment with --system-site-packages; or take
  the 64-bit system
option-wrong: {words} | mend the option in the settings
other-speed-answers: {port} does not answer at {baud} baud, as set; at another it does |
  {advice}
owner-denied: {path} may be opened by {owner} alone, not by {user} | sudo cp
  systemd/60-sweepgauge.rules /etc/udev/rules.d/ && sudo udevadm control --reload; then
  plug it in again
pins-denied: {chip} may not be opened, and the settings wire {names} | sudo adduser
  $USER gpio, then log out and in again
port-held: {port} is held by {holders} | close that program
port-locked: {port} is held by another program | close it; who it is: sudo fuser -v
  {port}
port-missing: {path} is not there | is the cable plugged in? ls -l {folder}
port-not-opened: {port}: {error} | mend the port in the settings, or close what holds
  it
power-low: the supply has dropped below 4.63 V, which spoils memory cards | a better
  supply and a shorter cable; fewer things on its USB sockets
push-limit-low: {words} | {advice}
registers-otherwise: {words} | {advice}
says-no-reading: {where}: the instrument itself says that it has no reading: {words} |
  {advice}
settings-wrong: {words} | mend it; nothing starts half configured
socket-denied: {path} may not be opened by this user; its group, {group}, may |
  {advice}
state-bad: {words} | {advice}
unit-switched: its unit was switched while it was heard | leave it at mm or inch
  during a check
unknown-lines: {words}; they are lines of text at {speed} baud: {text!r} | {first}no
  profile reads such lines: see its menu for another way of sending; or {report}
unknown-shape: {words}: {data!r} | check baud rate, parity and format; {report}
unstable-name: {port} may be another cable's name after a restart | {advice}
"""
)

# what is, or what nobody can be sure of
NOTES = entries(
    """
air: {said} ({sensor})
cable: {cable} is {device}, {state}{role}
cable-not-opened: {cable} cannot be listened to: {error}
clock-unset: not set by a network since the start{unpowered}: dates are marked as such
daemon-note: {words}
disk-in-memory: what is written to {folder} is gone when the power goes ({memory}) |
  give the log a place that stays: --log, or SWEEPGAUGE_LOG
echoes: it repeats what it is asked, {echoes} times: no harm in that
few-rejected: {rejects} of {frames} frames were rejected since it was opened
frames-rejected: {rejects} of {frames} frames were rejected, most of them ({count})
  because: {why}; such as {example} | check cable, baud rate and parity; `sweepgauge
  capture` keeps bytes for a report
had-no-reading: in between it had no reading: {words} | {advice}
keyboard: {link} types like a keyboard: a cable that does is read with the format
  {typed} | write its name only if it is the cable: a keyboard that is named is taken
  from the whole computer
keys-by-daemon: {port} {why}, and the daemon takes it for itself | start the daemon
  and look again; here its numbers would go to the window in front
leapt: {many} leapt and came back, as from a flipped bit: not used
modem-manager: a modem manager runs and writes to new ports for ten seconds | sudo cp
  systemd/60-sweepgauge.rules /etc/udev/rules.d/ && sudo udevadm control --reload; then
  plug the cable in again
moved: it moved by {drift} meanwhile: its noise is told at rest
no-daemon: none runs at {socket}; the ports are looked at here
no-instruments: none is set up | {advice}
no-number: {device} has no name of its own by number: another cable has the same, or it
  has none | name it by its socket, {cable}; and keep it there
no-unit: it sends no unit: its numbers are read as {unit} | {advice}
noise: {words}
nothing-came: {words}, and nothing came in {seconds:g} s{before} | {advice}
other-speeds: {words} | to try other speeds, stop the daemon and look again
pins-by-daemon: it is on pins ({wires}), which only the daemon reads | start the
  daemon and look again
pins-voltage: 3.3 V and no more on any pin; most such gauges speak 1.5 V and need a
  shifter
push-limit: {words} | {advice}
push-limit-marks: {words}
rate: {rate:.1f} readings a second
root: root may open everything; the daemon needs less: run it as a user of its own
settings-line: {words}
silent: {port} is open and silent{asked} | {advice}
silent-cable: {cable} is silent | press the instrument's send button and look again. One
  that must be asked is heard once the settings name it: {request}; {registers}
socket-left: {path} is left over from a daemon that was killed; the next one removes it
state-silent: {words} | {advice}
troubles: in the last 24 hours it {listed}
unknown-cable: {words} | to keep bytes for a report: sweepgauge capture {cable} --baud
  {baud} --seconds 10 --save mine.json; see "The next one" in hw/INSTRUMENTS.md
unnamed-instrument: {cable}: an instrument speaks there that the settings do not name
  | to read it, under [indicator], [travel] or [caliper]: {settings}
values-odd: {words} | {advice}
"""
)

# what is as it should be
GOOD = entries(
    """
clock-set: set by a network
daemon-runs: {program} (process {process}) at {socket}
disk-free: {mib:.0f} MiB free for the log in {folder}
lgpio-good: {names}: lgpio is there
log-recorded: {log}: what is measured is recorded
numpy-good: {version}, numpy {words} starts
pins-good: {names}: {chip} may be opened
power-good: the supply holds
readings-come: {port}: {readings} readings in {seconds:g} s{rejected}
rights-good: {user} may open what is wired
state-good: {words}
"""
)
