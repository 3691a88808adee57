"""String and body as two oscillators, against a string of finite elements on a mass, a spring and a damper.

C. E. Gough, "The theory of string resonances on musical instruments", Acustica 49 (1981) 124-141: a partial that
meets a resonance of the body splits in two if (2 Q / (n pi)) sqrt(2 m / M) > 1, else only the decay changes
(criterion from memory). Checked by the eigenvalues of a model that knows nothing of it: 120 linear elements of string
whose last node carries M, K and C.

Tolerances: the two-oscillator picture leaves out terms of order m / M and kappa / omega, here up to 3 %.
"""

import numpy as np
import pytest
from scipy import linalg

from bracedtop.fem.body_peaks import BodyPeak, admittance_of
from bracedtop.fem.string_loss import LossyString, partial_frequencies
from bracedtop.fem.sustain_map import HEARD, PLUCK, sustain_map

LENGTH, TENSION, MASS = 0.65, 80.0, 2e-3
N = 120


def string(air: float = 0.0) -> LossyString:
    return LossyString("string", TENSION, MASS, 0.0, 0.0, 0.0, air=air)


def system(peak: BodyPeak, air: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mass and stiffness of the string, fixed at the nut, and the state matrix with the body at its last node."""
    h = LENGTH / N
    K, M = np.zeros((N, N)), np.zeros((N, N))
    for k in range(N):
        nodes = [k - 1, k] if k else [0]
        stiff, mass = TENSION / h * np.array([[1, -1], [-1, 1]]), MASS * h / 6 * np.array([[2, 1], [1, 2]])
        at = np.ix_(nodes, nodes)
        K[at] += stiff[-len(nodes) :, -len(nodes) :]
        M[at] += mass[-len(nodes) :, -len(nodes) :]
    own = 2 * np.pi * peak.frequency
    K_all, M_all, C_all = K.copy(), M.copy(), air * M
    M_all[-1, -1] += peak.mass
    K_all[-1, -1] += peak.mass * own**2
    C_all[-1, -1] += peak.mass * own / peak.quality
    inverse = np.linalg.inv(M_all)
    A = np.block([[np.zeros((N, N)), np.eye(N)], [-inverse @ K_all, -inverse @ C_all]])
    return M, K, A


def roots_near(peak: BodyPeak, omega: float, air: float = 0.0) -> np.ndarray:
    """The two eigenvalues next to omega, as omega + i decay rate."""
    values = linalg.eigvals(system(peak, air)[2])
    values = values[values.imag > 0] / 1j
    return np.sort_complex(values[np.argsort(np.abs(values - omega))[:2]])


def body(n: int, figure: float, quality: float = 30.0) -> BodyPeak:
    """A body at the n-th partial with a wanted value of Gough's figure."""
    m = MASS * LENGTH
    M = 2 * m * (2 * quality / (n * np.pi * figure)) ** 2
    # Its mass and the string's pull at rest shift the node's own frequency; met exactly, they coincide.
    f = float(partial_frequencies(string(), LENGTH, n))
    return BodyPeak(f, quality, M)


@pytest.mark.parametrize("n", [1, 2, 3])
@pytest.mark.parametrize("figure", [0.4, 0.7, 1.5, 2.5])
def test_splitting(n: int, figure: float) -> None:
    peak = body(n, figure)
    found = sustain_map([string()], lambda f: admittance_of((peak,), f), scale_length=LENGTH, n_frets=0, peaks=(peak,))
    assert found.coupling[0, 0, n - 1] == pytest.approx(figure, rel=1e-9)
    one, two = roots_near(peak, 2 * np.pi * peak.frequency)
    half_loss = np.pi * peak.frequency / peak.quality / 2
    if figure > 1:
        assert (two.real - one.real) / (2 * half_loss) == pytest.approx(np.sqrt(figure**2 - 1), rel=0.03)
        assert one.imag == pytest.approx(half_loss, rel=0.06)
        assert two.imag == pytest.approx(half_loss, rel=0.06)
    else:
        assert (two.real - one.real) / (2 * half_loss) < 0.12
        apart = np.sqrt(1 - figure**2)
        assert sorted([one.imag, two.imag]) == pytest.approx(
            [half_loss * (1 - apart), half_loss * (1 + apart)], rel=0.04
        )
        assert found.partial_decay_time[0, 0, n - 1] == pytest.approx(
            3 * np.log(10) / min(one.imag, two.imag), rel=0.04
        )
    assert bool(found.wolf[0, 0]) == (n == 1 and figure > 1)


@pytest.mark.parametrize("interval", [0.80, 0.94, 1.0, 1.05, 1.3])
@pytest.mark.parametrize("figure", [0.6, 2.0])
def test_decay_of_a_pluck(interval: float, figure: float) -> None:
    """Energy of the finite-element string after a pluck, by its eigenvectors, against the map's two times."""
    at = body(1, figure)
    peak = BodyPeak(at.frequency * interval, at.quality, at.mass)
    air = 1.2

    def admittance(f):
        return admittance_of((peak,), f)

    found = sustain_map(
        [string(air)], admittance, scale_length=LENGTH, n_frets=0, n_partials=10, peaks=(peak,), pressure=admittance
    )
    M, K, A = system(peak, air)
    x = LENGTH * np.arange(1, N + 1) / N
    n = np.arange(1, 11)
    # The pluck's first ten partials alone, as in the map.
    shape = (np.sin(n * np.pi * PLUCK) / n**2) @ np.sin(np.outer(n, np.pi * x / LENGTH))
    values, vectors = linalg.eig(A)
    parts = np.linalg.solve(vectors, np.concatenate([shape, np.zeros(N)]).astype(complex))
    t = np.concatenate([np.linspace(0, 0.6, 1200), np.geomspace(0.61, 40, 600)])
    # Mean over a period in all of the string, kinetic and potential.
    state = np.real(vectors @ (parts[:, None] * np.exp(np.outer(values, t))))
    u, v = state[:N], state[N:]
    # The bridge's velocity in place of a pressure: its level over the first quarter of a second, for a pull of 1 N.
    early_on = t < HEARD
    bridge = 2 * LENGTH / (TENSION * np.pi**2) * v[-1, early_on]
    assert found.level is not None
    assert found.level[0, 0] == pytest.approx(10 * np.log10(np.mean(bridge**2) / 4e-10), abs=0.6)
    # Without the share that the moving end lends to the string at rest.
    u = u - np.outer(x / LENGTH, u[-1])
    v = v - np.outer(x / LENGTH, v[-1])
    energy = np.einsum("it,ij,jt->t", u, K, u) + np.einsum("it,ij,jt->t", v, M, v)
    fallen = 10 * np.log10(energy[0] / energy)
    fallen = np.minimum.accumulate(fallen[::-1])[::-1]
    decay, early = np.interp([60.0, 10.0], fallen, t) * [1, 6]
    assert found.decay_time[0, 0] == pytest.approx(decay, rel=0.04)
    assert found.early_decay_time[0, 0] == pytest.approx(early, rel=0.06)
