"""What is wrong with the poles: changed on the way, not known, or two sources joined + to -."""

from __future__ import annotations

from collections.abc import Iterator

from solarvent.base.findings import Finding
from solarvent.base.sentences import listed
from solarvent.plan.parts import Fan
from solarvent.wiring.mating import in_words
from solarvent.wiring.polarity import PolarityTrace
from solarvent.wiring.poles import Polarity

_BACKWARD = "blows the wrong way, and weakly"


def polarity_findings(trace: PolarityTrace) -> Iterator[Finding]:
    """Report reversed, unknown and opposed poles, one finding for each cause.

    Yields
    ------
    Finding
        ``polarity-reversed`` names the part that changes the poles and every fan behind it; ``fan-runs-backward`` is
        the same where it only turns brushed fans the wrong way; ``polarity-unknown`` says where to meter;
        ``sources-opposed`` is two sources joined + to -.
    """
    reversed_by: dict[frozenset[str], list[str]] = {}
    unknown_at: dict[frozenset[str], list[str]] = {}
    opposed: dict[str, str] = {}
    for fan, arrivals in trace.fans().items():
        for item in sorted(arrivals, key=lambda item: item.source):
            # Alike fans of unknown poles behind the same wires are one matter.
            wires = item.unknown_at - {fan}
            is_reversed = item.polarity is Polarity.REVERSED
            group, key = (reversed_by, item.reversed_by) if is_reversed else (unknown_at, wires)
            if item.polarity is not Polarity.KEPT and fan not in group.setdefault(key, []):
                group[key].append(fan)
        if {Polarity.KEPT, Polarity.REVERSED} <= {item.polarity for item in arrivals}:
            opposed.setdefault(" and ".join(sorted({item.source for item in arrivals})), fan)
    for names, fan in opposed.items():
        text = f"{names} are joined + to -: they work against each other."
        yield Finding("stop", "sources-opposed", fan, text, "Turn one of them round: swap its two conductors.")
    order = list(trace.parts)
    for parts, fans in reversed_by.items():
        yield _reversed(trace, sorted(parts, key=order.index), fans)
    for parts, fans in unknown_at.items():
        yield _unknown(trace, sorted(parts, key=order.index), fans)


def _reversed(trace: PolarityTrace, parts: list[str], fans: list[str]) -> Finding:
    """Word a reversal by what it does to the fans behind it."""
    effects: dict[str, list[str]] = {}
    for name in fans:
        fan = trace.parts[name]
        assert isinstance(fan, Fan)
        if fan.motor == "brushed":
            effect = _BACKWARD
        elif fan.reverse_protected:
            effect = "is protected and will not turn"
        else:
            effect = "may be destroyed, for no protection is known"
        effects.setdefault(effect, []).append(name)
    what = "; ".join(
        f"{listed(names)}{': each' if len(names) > 1 else ''} {effect}" for effect, names in effects.items()
    )
    severe = any("destroyed" in effect for effect in effects)
    where = listed(parts) + (" together" if len(parts) > 1 else "")
    plural = "s" if len(fans) > 1 else ""
    text = f"The poles change places at {where}: + reaches the - of {len(fans)} fan{plural} ({what})."
    do = f"Put one polarity crosser in line there, or swap the two conductors of {parts[0]}. Meter at the last plug."
    if list(effects) == [_BACKWARD]:
        return Finding("warn", "fan-runs-backward", parts[0], text, f"{do} A tissue shows which way it blows.")
    return Finding("stop" if severe else "warn", "polarity-reversed", parts[0], text, do)


def _unknown(trace: PolarityTrace, wires: list[str], fans: list[str]) -> Finding:
    """Say what is not known, and where to find out."""
    own = [name for name in fans if any(name in item.unknown_at for item in trace.fans()[name])]
    last = next(join for join in trace.joins if join.sink.part == fans[0]).source
    steps = []
    if wires:
        end = f", {in_words(last.connector, trace.families)}" if last.connector else ""
        steps.append(
            f"Meter at the last plug before {listed(fans)} ({last.part}{end}): positive reading = red probe on +."
        )
    if own:
        which = listed(own) if len(own) < 3 else "one fan"
        steps.append(f"Find the + of {which}: the sign on its label, or its data sheet.{_trial(trace, own)}")
        if len(own) >= 3:
            steps.append("Look whether all are alike.")
    text = (
        f"It is not known which contact is + at {listed([*wires, *own])}, so the poles at {listed(fans)} are not known."
    )
    return Finding("warn", "polarity-unknown", (wires or own)[0], text, " ".join(steps))


def _trial(trace: PolarityTrace, own: list[str]) -> str:
    """Say whether a fan may be tried both ways round."""
    fans = [fan for name in own if isinstance(fan := trace.parts[name], Fan)]
    if all(fan.motor == "brushed" or fan.reverse_protected for fan in fans):
        return " Or try it on its rated voltage: it does no harm."
    return " Do not just try both ways: a fan that is not protected may die of the wrong one."
