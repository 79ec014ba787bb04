"""Sheets made from the class's own runs: speeds to work out, questions to talk about, what each team did best."""

from __future__ import annotations

import statistics
from dataclasses import dataclass

from logger.study import words
from logger.study.bands import Band, band, divide, plain
from logger.study.class_folder import Class, ClassRun
from logger.study.class_story import SPEED, counts, drift_lines
from logger.study.paper import Sheet
from logger.study.prints.flow import PUPIL_PT, TEACHER_PT, Flow
from logger.study.rebuilds import rebuilds, usable
from logger.study.tongue import _, several
from logger.study.track_data import mean_speed


def speeds(sheet: Sheet, whole: Class, *, grades: str = "4-5") -> None:
    """A page for each team: distance and time of its own runs; the speed is worked out by hand."""
    shown = band(grades)
    for team in whole.teams:
        rows = speed_rows(whole, team, shown)
        if not rows:
            continue
        flow = Flow(sheet, whole, _("How fast was our boat? {team}").format(team=team), own_name=True)
        flow.say(_("Speed is distance divided by time. Work it out for each run."))
        flow.space(3)
        heads = [
            _("Run"), _("Distance ({unit})").format(unit=shown.length.words),
            _("Time ({unit})").format(unit=shown.time.words), _("Speed ({unit})").format(unit=shown.speed.words),
        ]  # fmt: skip
        flow.table(heads, [(*row[:3], "") for row in rows], shares=(1.7, 1, 1, 1.5), row_mm=12.0, size_pt=13)
        for question in (
            _("The largest speed: ______   The least: ______   The range: ______"),
            _("The mean (all speeds added, divided by how many): ______"),
            _("The middle one, when they stand in order: ______"),
        ):
            flow.space(4)
            flow.say(question, size_pt=13)
        flow.space(3)
        flow.say(_("Is one run odd? Which, and what may have happened?"), size_pt=13)
        flow.write(2)
        flow.end()


def speeds_key(sheet: Sheet, whole: Class, *, grades: str = "4-5") -> None:
    """The same speeds worked out, for teachers: from the numbers on the sheet, as pupils round."""
    shown = band(grades)
    flow = Flow(sheet, whole, _("Key to the speeds (for teachers)"))
    for team in whole.teams:
        rows = speed_rows(whole, team, shown)
        if rows:
            flow.heading(team, size_pt=TEACHER_PT)
            heads = [_("Run"), shown.length.words, shown.time.words, shown.speed.words]
            flow.table(heads, rows, shares=(1.7, 1, 1, 1.5), row_mm=6.0, size_pt=10)
    flow.end()


def speed_rows(whole: Class, team: str, shown: Band) -> list[tuple[str, str, str, str]]:
    """Run, distance, time and speed of a team's timed straight runs, as its age reads them."""
    rows = []
    for one in whole.of(kind="straight", team=team):
        mean = mean_speed(one.run) if one.counts else None
        division = divide(mean["distance"], mean["time"], shown) if mean else None
        if division is not None:
            distance, time, speed = (plain(part) for part in (division.distance, division.time, division.speed))
            rows.append((f"{one.boat} · {one.id}", distance, time, speed))
    return rows


def questions(sheet: Sheet, whole: Class) -> None:
    """Questions to talk about, each from what happened in this class."""
    flow = Flow(sheet, whole, _("Questions about our runs"))
    for number, question in enumerate(questions_of(whole), start=1):
        flow.need(38)
        flow.space(4)
        flow.say(f"{number}. {question}", size_pt=15)
        flow.write(2)
    flow.end()


def questions_of(whole: Class) -> list[str]:
    """Questions that the class's data can answer, or that they leave open."""
    found = []
    for kind in whole.kinds:
        name = words.main_result(kind)  # type: ignore[arg-type]
        boats: dict[str, list[float]] = {}
        for one in whole.of(kind=kind):
            if usable(one):
                boats.setdefault(one.boat, []).append(one.run.trial.results[name].quantity.value)
        spreads = {boat: max(v) - min(v) for boat, v in boats.items() if len(v) > 2}
        if len(spreads) > 1:
            most, least = max(spreads, key=lambda b: spreads[b]), min(spreads, key=lambda b: spreads[b])
            if spreads[most] > spreads[least]:
                found.append(
                    _(
                        "The runs of {most} differ more from each other than those of {least}. What may be the reason?"
                    ).format(most=most, least=least)
                )
        rebuilt = rebuilds(whole, kind)
        if rebuilt is not None:
            worse = [team for team in rebuilt.worse if team in rebuilt.clear]
            if worse:
                found.append(
                    _("After the rebuild {team} did less well. What would you look at first?").format(team=worse[0])
                )
            unclear = [team for team in rebuilt.change.by_team if team not in rebuilt.clear]
            if unclear:
                found.append(
                    _("For {team} the change is too close to call. How could you find out?").format(team=unclear[0])
                )
        lost = sum(count.did_not_finish for count in counts(whole, kind))
        if lost:
            found.append(
                several(
                    "{n} run did not finish. Is it fair to leave it out of the mean? Why do we still count it?",
                    "{n} runs did not finish. Is it fair to leave them out of the mean? Why do we still count them?",
                    lost,
                ).format(n=lost)
            )
    return found + _of_drift(whole)


def _of_drift(whole: Class) -> list[str]:
    if "drift" not in whole.kinds:
        return []
    found = []
    (by_mass, _m), (by_speed, _s) = drift_lines(whole)
    if by_mass.sign > 0:
        found.append(_("Look at drift and mass. Did heavier boats drift farther here? What else was not the same?"))
    elif by_mass.sign < 0:
        found.append(_("Look at drift and mass. Did heavier boats drift less far here? What else was not the same?"))
    elif by_mass.is_told:
        found.append(
            _("Look at drift and mass. These runs do not show that it matters. Does that mean it does not matter?")
        )
    if not by_speed.is_told:
        found.append(_("All boats came to the line about equally fast. What would change if one came faster?"))
    else:
        found.append(_("Who came faster to the line: did they drift farther? Is that the boat or the push?"))
    return found


@dataclass(frozen=True, slots=True)
class Award:
    """What a team did best, and the numbers that say so."""

    team: str
    title: str
    because: str


def certificates(sheet: Sheet, whole: Class) -> None:
    """A page for each team: what it did best, by its own numbers. Fast is one thing among others."""
    for award in awards(whole):
        flow = Flow(sheet, whole, _("Certificate"))
        low, height = flow.y_mm - 150, 140.0
        flow.sheet.box((flow.left_mm, low, flow.width_mm, height), line_mm=1.2)
        flow.sheet.box((flow.left_mm + 2, low + 2, flow.width_mm - 4, height - 4), line_mm=0.3)
        middle = flow.left_mm + flow.width_mm / 2
        for words_, down, size_pt in ((award.team, 32, 30.0), (award.title, 60, 24.0)):
            fits = min(
                size_pt, size_pt * (flow.width_mm - 16) / flow.sheet.width_mm(words_, size_pt=size_pt, bold=True)
            )
            flow.sheet.text(words_, at_mm=(middle, low + height - down), size_pt=fits, bold=True, middle=True)
        y = low + height - 82
        for line in flow.sheet.lines(award.because, width_mm=flow.width_mm - 24, size_pt=PUPIL_PT):
            flow.sheet.text(line, at_mm=(middle, y), size_pt=PUPIL_PT, middle=True)
            y -= 8
        flow.sheet.line((middle - 40, low + 18), (middle + 40, low + 18))
        flow.sheet.text(_("day and signature"), at_mm=(middle, low + 13), size_pt=10, middle=True)
        flow.end()


def awards(whole: Class) -> list[Award]:
    """One for every team with runs, each title given once; who wins none is told what it kept."""
    best = [
        *_steadiest(whole), *_most_changed(whole), *_farthest(whole), *_straightest(whole), *_fastest(whole),
    ]  # fmt: skip
    given: dict[str, Award] = {}
    titles: set[str] = set()
    for award in best:
        if award.team not in given and award.title not in titles:
            given[award.team] = award
            titles.add(award.title)
    made = {team: len(whole.of(team=team)) for team in whole.teams}
    kept = {team: sum(one.counts for one in whole.of(team=team)) for team in whole.teams}
    for team in whole.teams:
        told = several(
            "{kept} of {made} run kept, and each one written down.",
            "{kept} of {made} runs kept, and each one written down.", made[team],
        )  # fmt: skip
        given.setdefault(team, Award(team, _("Careful with data"), told.format(kept=kept[team], made=made[team])))
    return [given[team] for team in whole.teams]


def _values(whole: Class, kind: str) -> dict[str, list[ClassRun]]:
    found: dict[str, list[ClassRun]] = {}
    for one in whole.of(kind=kind):
        if usable(one):
            found.setdefault(one.team, []).append(one)
    return found


def _value(one: ClassRun, name: str) -> float:
    return one.run.trial.results[name].quantity.value


def _steadiest(whole: Class) -> list[Award]:
    spreads: dict[str, tuple[float, str]] = {}
    for one_boat in dict.fromkeys((one.team, one.boat) for one in whole.of(kind="straight") if usable(one)):
        team, boat = one_boat
        times = [
            _value(one, "time_s") for one in whole.of(kind="straight", team=team) if usable(one) and one.boat == boat
        ]
        if len(times) > 2:
            spreads[team] = min(
                spreads.get(team, (9.9, boat)), (statistics.stdev(times) / statistics.fmean(times), boat)
            )
    return [
        Award(team, _("Most alike from run to run"),
              _("The runs of {boat} differ by only {p:.1f} % from each other.").format(boat=boat, p=100 * share))
        for team, (share, boat) in sorted(spreads.items(), key=lambda item: item[1])
    ]  # fmt: skip


def _most_changed(whole: Class) -> list[Award]:
    found = rebuilds(whole, "straight")
    if found is None:
        return []
    clear = [team for team in found.better if team in found.clear]
    return [
        Award(team, _("Best improvement"),
              _("{s:.2f} s faster after the rebuild, clearly more than chance.").format(s=-found.change.by_team[team]))
        for team in sorted(clear, key=lambda team: found.change.by_team[team])
    ]  # fmt: skip


def _farthest(whole: Class) -> list[Award]:
    ratios = {}
    for team, runs in _values(whole, "drift").items():
        told = [
            (_value(one, "drift_mm") / (1000 * _value(one, SPEED)), one)
            for one in runs
            if SPEED in one.run.trial.results
        ]
        if told:
            ratios[team] = max(told, key=lambda pair: pair[0])
    return [
        Award(team, _("Longest drift for its speed"),
              _("{d:.0f} mm without power, from {v:.2f} metres per second at the line.").format(
                  d=_value(one, "drift_mm"), v=_value(one, SPEED)))
        for team, (_ratio, one) in sorted(ratios.items(), key=lambda item: -item[1][0])
    ]  # fmt: skip


def _straightest(whole: Class) -> list[Award]:
    found = {}
    for team, runs in _values(whole, "straight").items():
        aside = [_value(one, "sideways_mm") for one in runs if "sideways_mm" in one.run.trial.results]
        if aside:
            found[team] = min(aside)
    return [
        Award(
            team, _("Straightest way"), _("Never more than {mm:.0f} mm beside a straight line.").format(mm=found[team])
        )
        for team in sorted(found, key=lambda team: found[team])
    ]


def _fastest(whole: Class) -> list[Award]:
    means = {
        team: statistics.fmean(_value(one, "time_s") for one in runs)
        for team, runs in _values(whole, "straight").items()
    }
    return [
        Award(team, _("Quick boat"), _("{s:.2f} s in the mean of its runs.").format(s=means[team]))
        for team in sorted(means, key=lambda team: means[team])
    ]
