"""The doctor names what is wrong and what to do, with a daemon and without."""

from __future__ import annotations

import time


def matters(answer: dict, about: str) -> list[dict]:
    return [m for m in answer["matters"] if m["about"] == about]


def test_without_a_daemon_it_listens(rigs, run) -> None:
    rigs()
    doctor = run("doctor", "--json")
    code = doctor.wait()
    answer = doctor.answer()
    (indicator,) = matters(answer, "indicator")
    assert indicator["good"] is True and "readings in" in indicator["words"]
    assert any("Sled big-sled" in m["words"] for m in matters(answer, "settings"))
    assert code == (0 if answer["good"] else 1)


def test_a_missing_cable_and_rubbish_are_faults(rigs, run) -> None:
    rig = rigs()
    rig.unplug("travel")
    rig.sends = False
    doctor = run("doctor", "--json")
    while doctor.process.poll() is None:  # opening a port throws away what waited there
        rig.send("indicator", b"%&/ what is this\r\n")
        time.sleep(0.05)
    assert doctor.wait() == 1
    answer = doctor.answer()
    (travel,) = matters(answer, "travel")
    assert travel["good"] is False and "plugged in" in travel["do"]
    (indicator,) = matters(answer, "indicator")
    assert indicator["good"] is False and "baud rate" in indicator["do"]


def test_with_a_daemon_it_asks(rigs, run) -> None:
    rigs()
    run("daemon").hear("ready")
    doctor = run("doctor", "--json")
    doctor.wait()
    answer = doctor.answer()
    assert matters(answer, "daemon")[0]["good"] is True
    assert matters(answer, "log")[0]["good"] is True
    assert matters(answer, "indicator")


def test_wrong_settings_are_named(rigs, run, tmp_path) -> None:
    rigs()
    path = tmp_path / "settings.toml"
    path.write_text(path.read_text() + "\nnonsense = 1\n")
    doctor = run("doctor")
    assert doctor.wait() == 1
    assert b"nonsense" in doctor.process.stdout.read()


def test_no_settings_no_hardware(run, tmp_path) -> None:
    doctor = run("doctor", "--json")
    doctor.wait()
    (told,) = matters(doctor.answer(), "instruments")
    assert "demo" in told["do"]
