"""Truth table of the modal fit: rendered taps of known modes in noise, with hum, clipping and bounces.

  python -m bracedtop.scripts.benchmarks.tap_truth --trials 10

Noise is white over the whole band up to half the sampling rate; "20 dB" means that its mean square is 20 dB below that
of the sound over the first 0.1 s after the first hit. Errors are held against the Cramér-Rao bound from the exact
Fisher information of all hits' decays together, with frequencies and decay rates common to all hits and unknown
amplitude and phase of every mode, and of the hum, in every hit. A decay counts from 2 ms after its hit, when the
strike's click is gone, or from 1 ms after its last clipped sample, or from 2 ms after its second strike, to the next.

S. M. Kay, "Fundamentals of statistical signal processing: estimation theory", Prentice Hall 1993, ch. 3 (the bound).
"""

import argparse
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from bracedtop.fem.modal_fit import ModalFit, fit_recordings
from bracedtop.fem.sound import Sound
from bracedtop.fem.synthesis import Disturbance, tap_signal

RATE = 22_050
CLICK_GONE = 2e-3
WANTED_HZ = 0.2
WANTED_Q = 0.1


@dataclass(frozen=True, slots=True)
class Truth:
    """Modes that are rendered: frequencies in Hz, quality factors, levels in dB, (n,) each."""

    hz: np.ndarray
    q: np.ndarray
    level_db: np.ndarray

    @property
    def sigma(self) -> np.ndarray:
        """Decay rates, 1/s."""
        return np.asarray(np.pi * self.hz / self.q)


DOZEN = Truth(
    np.array([83.1, 112.6, 158.9, 178.4, 214.7, 253.3, 287.9, 311.6, 367.2, 431.8, 505.4, 588.5]),
    np.array([55.0, 70, 48, 90, 62, 100, 75, 44, 82, 66, 58, 118]),
    np.array([0.0, -3, -8, -5, -10, -4, -14, -9, -12, -16, -17, -20]),
)
BESIDE_HUM = replace(
    DOZEN, hz=np.array([97.0, 122.4, 146.5, 178.4, 203.5, 237.1, 262.3, 303.0, 352.2, 431.8, 505.4, 588.5])
)
"""Modes 2 to 4 Hz beside multiples of 50 and 60 Hz."""


def close_pair(level_db: float) -> Truth:
    """Two modes 3 Hz apart at 200 Hz."""
    return Truth(np.array([200.0, 203.0]), np.array([85.0, 95.0]), np.array([0.0, level_db]))


@dataclass(frozen=True, slots=True)
class Setup:
    """How the taps are recorded.

    Parameters
    ----------
    n_hits, n_points : int
        Hits in each recording; recordings, each of another point.
    faults : Disturbance
    spacing : float, s
        Mean distance of hits.
    """

    n_hits: int = 5
    n_points: int = 1
    faults: Disturbance = field(default_factory=Disturbance)
    spacing: float = 0.95


@dataclass(frozen=True, slots=True)
class Rendered:
    """Recordings of known modes and the bound on any estimate from them.

    Parameters
    ----------
    sounds : tuple of Sound
    bound_hz, bound_q : (n,) arrays
        Cramér-Rao bounds of the frequencies in Hz and of the quality factors' relative errors.
    """

    sounds: tuple[Sound, ...]
    bound_hz: np.ndarray
    bound_q: np.ndarray


def rendered(truth: Truth, setup: Setup, seed: int) -> Rendered:
    """Recordings of one tapping session, everything by chance decided by the seed."""
    rng = np.random.default_rng(seed)
    sounds = []
    information = np.zeros((2 * len(truth.hz), 2 * len(truth.hz)))
    for _ in range(setup.n_points):
        # Points of a top hear each mode more or less, in or against phase.
        share = rng.choice([-1.0, 1.0], len(truth.hz)) * np.exp(
            rng.normal(0, 0.5, len(truth.hz)) * (setup.n_points > 1)
        )
        amplitudes = share * 10 ** (truth.level_db / 20)
        hits = 0.6 + setup.spacing * np.arange(setup.n_hits) + rng.uniform(-0.1, 0.1, setup.n_hits)
        duration = float(hits[-1] + setup.spacing)
        signal = tap_signal(
            truth.hz,
            np.log(1e3) / truth.sigma,
            amplitudes,
            rate=RATE,
            duration=duration,
            hit_times=hits,
            rng=rng,
            disturbance=replace(setup.faults, clip=1.0),
        )
        if setup.faults.clip < 1:
            signal = np.clip(signal / (setup.faults.clip * np.abs(signal).max()), -1.0, 1.0)
        clipped = np.flatnonzero(np.abs(signal) >= 1.0)
        sounds.append(Sound(signal, RATE, clipped, 1, 1))
        if setup.faults.noise_db is not None:
            spans = [
                _usable(start, stop, clipped / RATE, setup.faults)
                for start, stop in itertools.pairwise([*hits, duration + 0.005])
            ]
            information += fisher(truth, amplitudes, spans, setup.faults)
    if not information.any():
        return Rendered(tuple(sounds), np.zeros(len(truth.hz)), np.zeros(len(truth.hz)))
    covariance = np.linalg.inv(information)
    n = len(truth.hz)
    by_q = np.hstack([np.diag(1 / (2 * np.pi * truth.hz)), -np.diag(1 / truth.sigma)])
    return Rendered(
        tuple(sounds),
        np.sqrt(np.diag(covariance)[:n]) / (2 * np.pi),
        np.sqrt(np.diag(by_q @ covariance @ by_q.T)),
    )


def _usable(start: float, stop: float, clipped: np.ndarray, faults: Disturbance) -> tuple[float, float]:
    """Where the decay of a hit is free, s after the hit."""
    own = clipped[(clipped >= start) & (clipped < stop)]
    first = CLICK_GONE if not len(own) else max(CLICK_GONE, float(own[-1]) - start + 1e-3)
    if faults.bounce is not None:
        first = max(first, faults.bounce[0] + CLICK_GONE)
    return first, stop - start - 0.005


def fisher(
    truth: Truth, amplitudes: np.ndarray, spans: Sequence[tuple[float, float]], faults: Disturbance
) -> np.ndarray:
    """Fisher information of (omega, sigma) in decays over these spans, (2 n, 2 n), amplitudes unknown in each.

    The hits' scatter in strength and place is left out: every hit as the mean one.
    """
    s = -truth.sigma + 2j * np.pi * truth.hz
    loud = np.arange(round(0.1 * RATE)) / RATE
    # Phase zero at the hit: the amplitudes are -i a.
    sound = (np.exp(np.outer(loud, s)) @ (-1j * amplitudes)).real
    variance = float(np.mean(sound**2)) * 10 ** ((faults.noise_db or 0.0) / 10)
    # A second strike adds to what still rings of the first.
    again = 1.0 if faults.bounce is None else 1 + faults.bounce[1] * np.exp(-s * faults.bounce[0])
    total = np.zeros((2 * len(s), 2 * len(s)))
    for first, last in spans:
        t = np.arange(first, last, 1 / RATE)
        decay = np.exp(np.outer(t, s))
        moved = t[:, None] * decay * (-1j * amplitudes * again)
        d = np.hstack([(1j * moved).real, -moved.real])
        q = np.linalg.qr(np.hstack([decay.real, decay.imag, _hum(t, faults)]))[0]
        d -= q @ (q.T @ d)
        total += d.T @ d / variance
    return np.asarray(total)


def _hum(t: np.ndarray, faults: Disturbance) -> np.ndarray:
    """Columns of the mains' multiples, whose strength, and its change, are unknown in each hit."""
    if faults.hum_hz is None:
        return np.zeros((len(t), 0))
    waves = np.exp(2j * np.pi * faults.hum_hz * np.outer(t, np.arange(1, 7)))
    steady = np.hstack([waves.real, waves.imag])
    return np.hstack([steady, t[:, None] * steady]) if faults.hum_drift else steady


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a fit made of known modes.

    Parameters
    ----------
    hz_error, q_error : (n,) arrays
        Hz and relative; NaN where a mode was missed.
    hz_stated : (n,) array
        Standard errors that the fit states, Hz.
    spurious : tuple of float
        Modes reported that there are not, Hz.
    """

    hz_error: np.ndarray
    q_error: np.ndarray
    hz_stated: np.ndarray
    sigma_normalised: np.ndarray
    spurious: tuple[float, ...]


def compared(fit: ModalFit, truth: Truth) -> Outcome:
    """Each true mode with the nearest reported one within its bandwidth, strongest true mode first."""
    free = set(range(len(fit.frequencies)))
    hz_error, q_error, stated, normalised = (np.full(len(truth.hz), np.nan) for _ in range(4))
    pairs = sorted(
        (abs(fit.frequencies[j] - hz), k, j)
        for k, hz in enumerate(truth.hz)
        for j in range(len(fit.frequencies))
        if abs(fit.frequencies[j] - hz) < max(hz / truth.q[k], 1.0)
    )
    for _, k, j in pairs:
        if j in free and np.isnan(hz_error[k]):
            free.discard(j)
            hz_error[k] = fit.frequencies[j] - truth.hz[k]
            q_error[k] = np.pi * fit.frequencies[j] / fit.decays[j] / truth.q[k] - 1
            stated[k] = fit.frequency_errors[j]
            normalised[k] = (fit.decays[j] - truth.sigma[k]) / fit.decay_errors[j]
    return Outcome(hz_error, q_error, stated, normalised, tuple(float(fit.frequencies[j]) for j in sorted(free)))


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table, over all trials and modes.

    Parameters
    ----------
    missed, spurious : int
    worst_hz, worst_q : float
        Largest errors, Hz and relative.
    beyond : int
        Modes off by more than 0.2 Hz or 10 % of Q.
    beyond_possible : int
        Those of them where 0.2 Hz and 10 % are more than twice the bound.
    hz_over_bound, q_over_bound : float
        Root mean square of the errors over their bounds.
    hz_over_stated, decay_over_stated : float
        The same over the stated standard errors.
    """

    n: int
    missed: int
    spurious: int
    worst_hz: float
    worst_q: float
    beyond: int
    beyond_possible: int
    worst_bound_hz: float
    worst_bound_q: float
    hz_over_bound: float
    q_over_bound: float
    hz_over_stated: float
    decay_over_stated: float
    rate_hz_error: np.ndarray
    spurious_hz: tuple[float, ...]


def row(truth: Truth, setup: Setup, seeds: Sequence[int]) -> Row:
    """One line of the table."""
    outcomes, bounds = [], []
    for seed in seeds:
        session = rendered(truth, setup, seed)
        fit = fit_recordings([(f"point {k + 1}", (sound,)) for k, sound in enumerate(session.sounds)])
        outcomes.append(compared(fit, truth))
        bounds.append(session)
    hz, q = (np.array([getattr(o, name) for o in outcomes]) for name in ("hz_error", "q_error"))
    bound_hz, bound_q = (np.array([getattr(b, name) for b in bounds]) for name in ("bound_hz", "bound_q"))
    stated = np.array([o.hz_stated for o in outcomes])
    decay = np.array([o.sigma_normalised for o in outcomes])
    off = (np.abs(hz) > WANTED_HZ) | (np.abs(q) > WANTED_Q)
    possible = (2 * bound_hz < WANTED_HZ) & (2 * bound_q < WANTED_Q)

    def rms(values: np.ndarray) -> float:
        return float(np.sqrt(np.nanmean(values**2)))

    with np.errstate(divide="ignore", invalid="ignore"):
        return Row(
            n=hz.size,
            missed=int(np.isnan(hz).sum()),
            spurious=sum(len(o.spurious) for o in outcomes),
            worst_hz=float(np.nanmax(np.abs(hz))),
            worst_q=float(np.nanmax(np.abs(q))),
            beyond=int(off.sum()),
            beyond_possible=int((off & possible).sum()),
            worst_bound_hz=float(bound_hz.max()),
            worst_bound_q=float(bound_q.max()),
            hz_over_bound=rms(hz / bound_hz),
            q_over_bound=rms(q / bound_q),
            hz_over_stated=rms(hz / stated),
            decay_over_stated=rms(decay),
            rate_hz_error=np.sqrt(np.nanmean((hz / bound_hz) ** 2, axis=0)),
            spurious_hz=tuple(f for o in outcomes for f in o.spurious),
        )


def lines() -> list[tuple[str, Truth, Setup]]:
    """All lines of the table: what is rendered, and how."""
    few, many = {"n_hits": 5, "n_points": 1}, {"n_hits": 9, "n_points": 3}
    result: list[tuple[str, Truth, Setup]] = []
    for name, hits in (("1 x 5 hits", few), ("3 x 9 hits", many)):
        result += [
            (f"{name}, {snr} dB", DOZEN, Setup(**hits, faults=Disturbance(noise_db=-float(snr))))
            for snr in (30, 20, 10)
        ]
    for mains in (50.0, 60.0):
        hum = Disturbance(noise_db=-20.0, hum_hz=mains, hum_db=-12.0)
        result.append((f"3 x 9, 20 dB, hum {mains:.0f} Hz", DOZEN, Setup(**many, faults=hum)))
        result.append((f"1 x 5, 20 dB, hum {mains:.0f} Hz", DOZEN, Setup(**few, faults=hum)))
        drifting = replace(hum, hum_drift=0.1)
        result.append((f"3 x 9, 20 dB, hum {mains:.0f} Hz drifts", DOZEN, Setup(**many, faults=drifting)))
        result.append((f"3 x 9, 20 dB, beside hum {mains:.0f} Hz", BESIDE_HUM, Setup(**many, faults=drifting)))
        result.append((f"1 x 5, 20 dB, beside hum {mains:.0f} Hz", BESIDE_HUM, Setup(**few, faults=drifting)))
    noise = Disturbance(noise_db=-20.0)
    result.append(("3 x 9, 20 dB, clipped", DOZEN, Setup(**many, faults=replace(noise, clip=0.5))))
    result.append(("3 x 9, 20 dB, all bounce", DOZEN, Setup(**many, faults=replace(noise, bounce=(0.06, 0.35)))))
    result.append(
        ("3 x 9, 30 dB, all bounce", DOZEN, Setup(**many, faults=Disturbance(noise_db=-30.0, bounce=(0.06, 0.35))))
    )
    for level in (0.0, -10.0):
        result.append((f"200 and 203 Hz, {level:.0f} dB, 1 x 5, 20 dB", close_pair(level), Setup(**few, faults=noise)))
        result.append((f"200 and 203 Hz, {level:.0f} dB, 3 x 9, 20 dB", close_pair(level), Setup(**many, faults=noise)))
    return result


HEAD = (
    f"{'taps':38} {'modes':>5} {'missed':>6} {'false':>5} {'worst Hz':>8} {'worst Q':>7} {'off':>4} {'avoidable':>9} "
    f"{'bound Hz':>8} {'bound Q':>7} {'Hz/bound':>8} {'Q/bound':>7} {'Hz/std':>6} {'decay/std':>9}"
)


def text(name: str, r: Row) -> str:
    """One printed line."""
    return (
        f"{name:38} {r.n:5d} {r.missed:6d} {r.spurious:5d} {r.worst_hz:8.3f} {100 * r.worst_q:6.1f}% {r.beyond:4d} "
        f"{r.beyond_possible:9d} {r.worst_bound_hz:8.3f} {100 * r.worst_bound_q:6.1f}% {r.hz_over_bound:8.2f} "
        f"{r.q_over_bound:7.2f} {r.hz_over_stated:6.2f} {r.decay_over_stated:9.2f}"
    )


def main(argv: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=10)
    parser.add_argument("--only", default="", help="lines whose name holds this")
    arguments = parser.parse_args(argv)
    print(HEAD)
    for name, truth, setup in lines():
        if arguments.only in name:
            print(text(name, row(truth, setup, range(arguments.trials))), flush=True)


if __name__ == "__main__":
    main()
