"""Movement and space use against values from outside the project."""

import itertools

import numpy as np
import pytest
import shapely
from scipy.spatial import ConvexHull
from scipy.stats import f, gaussian_kde, multivariate_normal, rayleigh
from statsmodels.nonparametric.kernel_density import KDEMultivariate
from statsmodels.stats.multitest import multipletests

from pipeline.movement import (Tails, bridge_variance_m2, cross_validation_score, holm, hull_area_m2, kaplan_meier, kernel_area_m2, kernel_density, net_squared_m2,
                               normal_affinity, normal_range, normal_range_area_m2, reference_bandwidth_m, unmoved_step_m, walk_of)


def test_hull_of_five_points():
    """8.1: textbook shoelace example, the polygon 16.5 (value from memory, recomputed), its hull 22 by hand: the reflex corner is filled."""
    corners = [(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)]
    assert shapely.Polygon(corners).area == 16.5
    assert hull_area_m2(corners) == pytest.approx(22, abs=1e-12)


def test_hull_of_a_unit_square_with_an_inner_point_and_of_a_3_4_5_triangle():
    """8.2, derived."""
    assert hull_area_m2([(0, 0), (1, 0), (1, 1), (0, 1), (0.3, 0.6)]) == 1
    assert hull_area_m2([(0, 0), (3, 0), (0, 4)]) == 6


def test_mean_hull_area_of_three_standard_normal_points():
    """8.3: Efron 1965, sqrt(3)/2 (value from memory, recomputed); Monte Carlo."""
    points = np.random.default_rng(12).normal(size=(100_000, 3, 2))
    assert hull_area_m2(points).mean() == pytest.approx(np.sqrt(3) / 2, abs=0.005)


def test_95_percent_bivariate_normal_range():
    """8.4: Jennrich & Turner 1969, J. theor. Biol. 22:227, who round 5.9915 to 6 (value from memory, recomputed): 18.823 ha for sd 100 m, 18.850 as they round it."""
    assert normal_range_area_m2(100**2 * np.eye(2)) / 1e4 == pytest.approx(18.823, abs=1e-3)
    assert normal_range_area_m2(100**2 * np.eye(2)) / 1e4 * 6 / 5.9915 == pytest.approx(18.850, abs=1e-3)


KERNELS = {"normal": lambda squared: np.exp(-squared / 2), "Epanechnikov": lambda squared: np.clip(1 - squared, 0, None), "biweight": lambda squared: np.clip(1 - squared, 0, None) ** 2,
           "triweight": lambda squared: np.clip(1 - squared, 0, None) ** 3}


def bandwidth_constant(kernel):
    """A(K) in two dimensions by Silverman 1986, equation (4.14): (2 integral K^2 / ((integral x^2 K)^2 integral (laplacian of the unit normal)^2))^(1/6), over rings."""
    radius, step = np.linspace(0, 12, 240_001, retstep=True)
    over_the_plane = lambda values: 2 * np.pi * step * (values * radius).sum()                      # the first and last ring weigh nothing
    heights = kernel(radius**2) / over_the_plane(kernel(radius**2))
    laplacian = (radius**2 - 2) * np.exp(-(radius**2) / 2) / (2 * np.pi)
    variance = over_the_plane(heights * radius**2) / 2
    return (2 * over_the_plane(heights**2) / (variance**2 * over_the_plane(laplacian**2))) ** (1 / 6)


@pytest.mark.parametrize("kernel, printed", [("normal", 1.0), ("Epanechnikov", 2.4019), ("biweight", 2.7792), ("triweight", 3.1154)])
def test_bandwidth_constants_of_four_kernels_come_from_one_formula(kernel, printed):
    """8.5: Silverman 1986, table 4.1 prints 1, 2.40, 2.78 and 3.12 (values from memory, recomputed from his formula to four figures)."""
    assert bandwidth_constant(KERNELS[kernel]) == pytest.approx(printed, abs=1e-4)


def test_reference_bandwidth_is_that_formula_for_a_normal_kernel():
    """8.5: Silverman 1986, equation (4.14), with the kernel that the project uses; n = 64 gives half the sd."""
    places = np.random.default_rng(1).normal(0, 100, (64, 2))
    sd = np.sqrt(places.var(axis=0, ddof=1).mean())
    assert reference_bandwidth_m(places) == pytest.approx(bandwidth_constant(KERNELS["normal"]) * sd / 2, rel=1e-6)
    assert kernel_density(places[:1], places[:1] + [[0, 0], [100, 0]], 100**2 * np.eye(2)) @ [1, -1] == pytest.approx((1 - np.exp(-0.5)) / (2 * np.pi * 100**2), rel=1e-12)      # a normal kernel it is


def test_both_named_bandwidth_rules_are_the_same_in_two_dimensions():
    """8.6: scipy.stats.gaussian_kde (package): n^(-1/6)."""
    places = np.random.default_rng(1).normal(size=(2, 50))
    assert gaussian_kde(places, "scott").factor == pytest.approx(gaussian_kde(places, "silverman").factor, abs=1e-12)
    assert gaussian_kde(places, "scott").factor == pytest.approx(50 ** (-1 / 6), abs=1e-12)


def test_a_normal_kernel_inflates_the_95_percent_area_by_1_plus_n_to_the_minus_third():
    """8.7, derived: 1.2714 for the width of 50 fixes, on a lattice of 6,000 places that stands for the normal range itself."""
    radius = np.sqrt(-2 * np.log((np.arange(100) + 0.5) / 100))
    angle = 2 * np.pi * (np.arange(60) + 0.5) / 60
    places = 100 * np.column_stack([np.outer(radius, np.cos(angle)).ravel(), np.outer(radius, np.sin(angle)).ravel()])
    assert 1 + 50 ** (-1 / 3) == pytest.approx(1.2714, abs=6e-5)
    assert kernel_area_m2(places, bandwidth_m=100 * 50 ** (-1 / 6)) / normal_range_area_m2(100**2 * np.eye(2)) == pytest.approx(1 + 50 ** (-1 / 3), abs=0.003)


def test_a_motionless_tag_seems_to_step():
    """8.8, derived and simulated: mean step s sqrt(pi) = 1.7725 s, so 1.505 times the median error 1.1774 s; 95 % point 2.940 times."""
    mean, high = unmoved_step_m(1.1774100225154747)
    assert mean == pytest.approx(1.7725, abs=1e-4)
    assert high / 1.1774100225154747 == pytest.approx(2.940, abs=1e-3)
    steps = np.hypot(*np.diff(np.random.default_rng(3).normal(size=(2, 2, 400_000)), axis=1)[:, 0])
    assert (steps.mean(), np.square(steps).mean()) == (pytest.approx(mean, abs=0.003), pytest.approx(4, abs=0.015))


def test_rayleigh_median_behind_the_unmoved_step():
    """8.12: Rayleigh step: mean 1.2533 s, median 1.1774 s, mean square 2 s^2 (values from memory, recomputed; scipy.stats.rayleigh, package)."""
    assert (rayleigh.mean(), rayleigh.median(), rayleigh.moment(2)) == pytest.approx((1.2533, 1.1774, 2.0), abs=6e-5)
    mean, high = unmoved_step_m(rayleigh.median())                 # errors of sd 1 each axis, so a step of scale sqrt 2
    assert (mean, high) == pytest.approx((rayleigh.mean(scale=np.sqrt(2)), rayleigh.isf(0.05, scale=np.sqrt(2))), rel=1e-9)


@pytest.mark.parametrize("count", [15, 60])
def test_the_interval_of_a_normal_range_holds_it_in_95_of_100(count):
    """Derived: chi-square of the generalised variance, errors of known size taken off."""
    generator = np.random.default_rng(count)
    truth, error = normal_range_area_m2(500**2 * np.eye(2)), 150.0
    held = 0
    for _ in range(600):
        seen = generator.normal(0, 500, (count, 2)) + generator.normal(0, error, (count, 2))
        _, low, high = normal_range(seen, np.tile(error**2 * np.eye(2), (count, 1, 1)))
        held += low <= truth <= high
    assert 0.93 <= held / 600 <= 0.97


def scattered(count=40, seed=1):
    return np.random.default_rng(seed).normal(0, 1, (count, 2)) @ [[300, 100], [0, 150]]


def test_kernel_density_is_that_of_two_packages():
    """scipy.stats.gaussian_kde (kernels with the shape of the scatter) and statsmodels KDEMultivariate (one width for each axis), on a grid, before anything is taken off."""
    places = scattered()
    at = np.column_stack([each.ravel() for each in np.meshgrid(np.linspace(-900, 900, 40), np.linspace(-700, 700, 40))])
    by_scipy = gaussian_kde(places.T)
    assert kernel_density(places, at, by_scipy.covariance) == pytest.approx(by_scipy(at.T), rel=1e-10)
    by_statsmodels = KDEMultivariate(places, "cc", bw=[80, 60])
    assert kernel_density(places, at, np.diag([80.0**2, 60.0**2])) == pytest.approx(by_statsmodels.pdf(at), rel=1e-10)


def test_weighted_kernel_density_is_that_of_scipy():
    """scipy.stats.gaussian_kde with weights (package)."""
    places, weights = scattered(12), np.arange(1.0, 13.0)
    by_scipy = gaussian_kde(places.T, weights=weights)
    at = scattered(50, seed=2)
    assert kernel_density(places, at, by_scipy.covariance, weights) == pytest.approx(by_scipy(at.T), rel=1e-10)


@pytest.mark.parametrize("widths_m", [(80.0, 60.0), (200.0, 30.0)])
def test_cross_validation_criterion_is_that_of_statsmodels(widths_m):
    """statsmodels KDEMultivariate.imse (package): integrated squared error by leaving one out, less its constant."""
    places = scattered()
    theirs = KDEMultivariate(places, "cc", bw=list(widths_m)).imse(np.array(widths_m))
    assert cross_validation_score(places, np.diag(np.square(widths_m))) == pytest.approx(theirs, rel=1e-10)


def test_hull_is_that_of_shapely_and_scipy():
    """shapely.convex_hull and scipy.spatial.ConvexHull (packages); for points in the plane the latter calls the area its volume."""
    for seed in range(5):
        points = scattered(25, seed)
        assert hull_area_m2(points) == pytest.approx(shapely.MultiPoint(points).convex_hull.area, rel=1e-12)
        assert hull_area_m2(points) == pytest.approx(ConvexHull(points).volume, rel=1e-10)


def test_variance_of_a_brownian_bridge():
    """8.10: Horne et al. 2007, Ecology 88:2354 (value from memory, recomputed): 37.5 for T = 100, half way, rate^2 = 1, errors of 5."""
    assert bridge_variance_m2(0.5, 100.0, 1.0, 25.0, 25.0) == 37.5


def test_bridge_is_gaussian_conditioning():
    """Derived: conditional variance of a random walk given both ends, errors added."""
    start, rate, days, share, errors = 1e6, 3.0, 7.0, 0.3, (16.0, 9.0)
    ends = np.array([[start, start], [start, start + rate**2 * days]])
    cross = np.array([start, start + rate**2 * days * share])
    given_ends = start + rate**2 * days * share - cross @ np.linalg.solve(ends, cross)
    pull = np.linalg.solve(ends, cross)
    assert bridge_variance_m2(share, days, rate, *errors) == pytest.approx(given_ends + pull**2 @ errors, rel=1e-5)


def net_squared(steps_of, animals, error_m=1.5, seed=5):
    """Mean over animals of the net squared displacement that fixes with errors give."""
    generator = np.random.default_rng(seed)
    nets = []
    for end in steps_of(generator, animals):
        fixes = [place + generator.normal(0, error_m, 2) + generator.normal(0, error_m, (60, 2)) for place in (np.zeros(2), end)]
        nets.append(net_squared_m2(*fixes)[0])
    return np.mean(nets), np.std(nets) / np.sqrt(animals)


def test_net_squared_displacement_of_correlated_walks_seen_with_errors():
    """8.9: Kareiva & Shigesada 1983, Oecologia 56:234 (value from memory, recomputed and simulated): 41.315 for 10 steps of length 1 and turns of kappa = 2 (mean cosine 0.69777)."""
    def walks(generator, animals):
        heading = np.cumsum(np.column_stack([generator.uniform(0, 2 * np.pi, animals), generator.vonmises(0, 2, (animals, 9))]), axis=1)
        return np.column_stack([np.cos(heading).sum(axis=1), np.sin(heading).sum(axis=1)])

    mean, error = net_squared(walks, 8000)
    assert mean == pytest.approx(41.315, abs=0.25) and error < 0.6


def test_net_squared_displacement_of_a_homing_animal_seen_with_errors():
    """8.11: Ornstein-Uhlenbeck process (derived and simulated): theta 0.1, sigma 2, variance 20, correlation 1/e after 10, each axis: 25.285."""
    def homing(generator, animals):
        start = generator.normal(0, np.sqrt(20), animals)
        end = start * np.exp(-1) + generator.normal(0, np.sqrt(20 * (1 - np.exp(-2))), animals)
        return np.column_stack([end - start, np.zeros(animals)])

    mean, error = net_squared(homing, 8000)
    assert mean == pytest.approx(25.285, abs=0.6) and error < 0.6


def test_a_smoothed_rate_is_that_of_the_walk():
    """Derived: with errors that are nothing, the likeliest rate is the root of the mean square of step over root of time, each axis."""
    generator, days = np.random.default_rng(6), np.array([0.0, 1.0, 3.0, 3.5, 7.0, 8.0, 12.0, 13.0])
    path = np.cumsum(generator.normal(size=(8, 2)) * 200 * np.sqrt(np.diff(days, prepend=0.0))[:, None], axis=0)
    walk = walk_of([place + generator.normal(0, 0.5, (100, 2)) for place in path], days, seed=1)
    assert walk.rate == pytest.approx(np.sqrt((np.square(np.diff(path, axis=0)) / np.diff(days)[:, None]).mean()), rel=0.06)


def test_holm_is_that_of_statsmodels():
    """statsmodels.stats.multitest.multipletests, method "holm" (package)."""
    p = np.random.default_rng(7).uniform(0, 0.2, 40) ** 2
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1], rel=1e-12)


def test_affinity_of_two_normal_distributions_is_its_integral():
    """Derived: numerical integral of the root of the product of both densities."""
    one, other = (np.zeros(2), np.array([[2.0, 0.5], [0.5, 1.0]])), (np.array([1.0, -1.0]), np.array([[1.0, -0.3], [-0.3, 3.0]]))
    axis = np.linspace(-12, 12, 601)
    grid = np.dstack(np.meshgrid(axis, axis))
    product = np.sqrt(multivariate_normal(*one).pdf(grid) * multivariate_normal(*other).pdf(grid))
    assert normal_affinity(*one, *other) == pytest.approx(product.sum() * (axis[1] - axis[0]) ** 2, rel=1e-6)


def test_survival_of_a_published_trial():
    """Freireich et al. 1963, remission under 6-MP, 21 patients, the textbook example of Kaplan-Meier (values from memory): 0.857 at 6 weeks to 0.448 at 23."""
    weeks = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
    ended = [True, True, True, False, True, False, True, False, False, True, True, False, False, False, True, True, *[False] * 5]
    found = kaplan_meier(np.zeros(21), weeks, ended, [6, 7, 10, 13, 16, 22, 23])
    assert found["survival"].tolist() == pytest.approx([0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448], abs=5e-4)
    assert found["at_risk"].tolist() == [21, 17, 15, 12, 11, 7, 6]


def test_survival_with_staggered_entry_is_that_of_the_published_formula():
    """Pollock et al. 1989, J. Wildl. Manage. 53:7: S = product of 1 - d / r over the weeks, r those under observation at the week's beginning; animals added in a week count from the next.

    The weeks (at risk, dead, censored, added) are those of the paper's example of bobwhites, value from memory; survival is worked out here, and so is Greenwood's variance with its log-minus-log interval.
    """
    weeks = [(20, 0, 0, 1), (21, 0, 0, 1), (22, 2, 1, 0), (19, 5, 0, 0), (14, 3, 0, 0), (11, 0, 0, 0), (11, 0, 0, 0), (11, 2, 0, 0), (9, 1, 0, 0), (8, 0, 1, 0), (7, 0, 0, 3), (10, 0, 0, 6),
             (16, 4, 0, 10), (22, 4, 0, 3)]
    assert all(risk - dead - censored + added == later for (risk, dead, censored, added), (later, *_) in itertools.pairwise(weeks))
    lives, present = [], [0] * 20
    for week, (_, dead, censored, added) in enumerate(weeks, start=1):
        lives += [(present.pop(), week, dies) for dies in [True] * dead + [False] * censored]        # the last to come leave first: who leaves changes nothing
        present += [week] * added
    lives += [(entry, len(weeks), False) for entry in present if entry < len(weeks)]
    found = kaplan_meier(*np.array(lives).T[:2], np.array([dies for *_, dies in lives]), np.arange(1, len(weeks) + 1))
    risk, dead = (np.array(weeks)[:, column] for column in (0, 1))
    survival, hazard = np.cumprod(1 - dead / risk), np.cumsum(dead / (risk * (risk - dead)))
    assert found["at_risk"].tolist() == risk.tolist() and found["deaths"].tolist() == np.cumsum(dead).tolist()
    assert found["survival"].tolist() == pytest.approx(survival.tolist(), rel=1e-12)
    assert survival[[2, 3, 4, 7, 8, 12]] == pytest.approx([0.9091, 0.6699, 0.5263, 0.4306, 0.3828, 0.2871], abs=5e-5)        # as printed, value from memory
    reach = 1.959964 * np.sqrt(hazard[2:]) / np.log(survival[2:])
    assert found["survival_low"].iloc[2:].tolist() == pytest.approx((survival[2:] ** np.exp(-reach)).tolist(), rel=1e-6)
    assert found["survival_high"].iloc[2:].tolist() == pytest.approx((survival[2:] ** np.exp(reach)).tolist(), rel=1e-6)


def test_survival_with_staggered_entry_and_ties_is_that_of_lifelines():
    """lifelines 0.30.3, KaplanMeierFitter.fit(end, dead, entry=entry), run once apart from the project; one animal enters at the moment at which another dies, and is not at risk then."""
    entry, end = [0, 0, 0, 0, 3, 3, 5, 5, 8, 12, 12, 15], [4, 9, 20, 12, 6, 20, 9, 20, 14, 12.5, 20, 20]
    dead = [True, True, False, True, False, False, True, False, True, False, False, False]
    found = kaplan_meier(entry, end, dead, [4, 9, 12, 14, 20])
    assert found["survival"].tolist() == pytest.approx([0.833333, 0.595238, 0.476190, 0.380952, 0.380952], abs=1e-6)
    assert found["survival_low"].tolist() == pytest.approx([0.273123, 0.198638, 0.135750, 0.096180, 0.096180], abs=1e-6)
    assert found["survival_high"].tolist() == pytest.approx([0.974712, 0.846603, 0.759073, 0.671819, 0.671819], abs=1e-6)


def test_student_tails_are_those_of_the_f_distribution():
    """scipy.stats.f (package): squared distances of a bivariate Student t over 2 follow F with 2 and as many degrees of freedom."""
    tails, at = Tails((0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0), 54), np.array([1e-2, 1e-4])
    scale = -2 * np.log(0.05) / (2 * f.isf(0.05, 2, 5))
    assert tails.p_value(at) == pytest.approx(f.sf(-2 * np.log(at) / (2 * scale), 2, 5), rel=1e-9)
