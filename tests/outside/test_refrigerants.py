"""The refrigerant table against molar masses, an equation of state and each other.

CoolProp (an open property library) is the outside source for pure fluids; its
values are computed here (C).  LFL figures are as certain as the table says;
what is only remembered is compared, and its test says so.
"""

from __future__ import annotations

import pytest

from bench.profile.refrigerants import refrigerants

CoolProp = pytest.importorskip("CoolProp.CoolProp")

#: Our names → CoolProp's.
FLUIDS = {"R-32": "R32", "R-1234yf": "R1234yf", "R-1234ze(E)": "R1234ze(E)"}
#: What molar masses follow from: IUPAC standard atomic weights (M+), g/mol.
ATOMS = {"C": 12.011, "H": 1.008, "F": 18.998403}
FORMULAS = {
    "R-32": {"C": 1, "H": 2, "F": 2},
    "R-1234yf": {"C": 3, "H": 2, "F": 4},
    "R-1234ze(E)": {"C": 3, "H": 2, "F": 4},
}
R = 8.314462618  # J/(mol K), exact by definition of the SI
REFERENCE_K, REFERENCE_PA = 298.15, 101_325.0


@pytest.mark.parametrize("name", FLUIDS)
def test_molar_masses_are_coolprops_and_the_formulas(name: str) -> None:
    (molar,) = refrigerants()[name].molar_mass
    assert molar.value == pytest.approx(CoolProp.PropsSI("M", FLUIDS[name]) * 1e3, rel=1e-4)
    assert molar.value == pytest.approx(sum(ATOMS[a] * n for a, n in FORMULAS[name].items()), rel=1e-4)


@pytest.mark.parametrize("name", FLUIDS)
def test_published_vol_percent_and_mass_of_a_pure_fluid_agree(name: str) -> None:
    """As ideal gas at 25 degC and 101.325 kPa within 0.4 %, as real gas within 2.5 %: published pairs are ideal-gas ones.

    The reference state is what makes them agree (C); no source that states it was seen.
    """
    found = refrigerants()[name]
    (molar,), vol = found.molar_mass, found.by_volume[0]
    ideal = molar.value / 1e3 * REFERENCE_PA / (R * REFERENCE_K)
    real = CoolProp.PropsSI("D", "T", REFERENCE_K, "P", REFERENCE_PA, FLUIDS[name])
    for mass in found.by_mass:
        assert vol.value / 100 * ideal == pytest.approx(mass.value, rel=0.004)
        assert vol.value / 100 * real == pytest.approx(mass.value, rel=0.025)


def test_a_quarter_of_the_lfl_of_r_32_is_36000_ppm() -> None:
    # S: the RCL of R-32 in IMC table 1103.1 is 36 000 ppm, a quarter of its LFL.
    assert refrigerants()["R-32"].lfl_ppm == 4 * 36_000


def test_blends_are_never_converted() -> None:
    """A blend's published mass may be that of its worst fraction, so no molar mass stands beside it."""
    table = refrigerants()
    assert {name for name, r in table.items() if r.molar_mass} == set(FLUIDS)
    # S2: 0.3526 kg/m3 is the worst-case figure of ASHRAE 34-2019 addendum f for R-454B; by its nominal
    # 62.61 g/mol it would be 13.8 vol %, and 11.25 vol % is what is published beside 0.296 kg/m3.
    blend = table["R-454B"]
    assert [f.value for f in blend.by_mass] == [0.296, 0.297, 0.303, 0.3526]
    assert blend.lfl_ppm == 112_500


def test_every_figure_says_edition_source_and_certainty() -> None:
    for found in refrigerants().values():
        assert found.by_volume, "a refrigerant without an established LFL in vol % is left out"
        for figure in (*found.by_volume, *found.by_mass, *found.molar_mass):
            assert figure.edition and figure.source
            assert figure.certainty in ("S", "S2", "C", "M+", "M?")
            assert ("remembered" in figure.source) == figure.certainty.startswith("M")


def test_what_could_not_be_established_is_not_there() -> None:
    assert "R-516A" not in refrigerants()
