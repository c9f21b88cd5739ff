"""Names of glasses and crystals that are not names of the rates: the trade's, makers' former ones, other makers'.

Index n_d and Abbe number v_d are those of the makers' data sheets, from memory; crystals after the published dispersion formulas.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class PublishedGlass:
    """A glass as its maker publishes it: maker or trade, index n_d and Abbe number v_d [-]."""

    maker: str
    nd: float
    vd: float


FORMER_SCHOTT = """
BK7 1.51680 64.17  BK1 1.51009 63.46  BK10 1.49782 66.95  K5 1.52249 59.48  ZKN7 1.50847 61.19  BAK1 1.57250 57.55  BAK2 1.53996 59.71
BAK4 1.56883 56.13  SK2 1.60738 56.65  SK4 1.61272 58.63  SK5 1.58913 61.27  SK10 1.62280 56.90  SK11 1.56384 60.80  SK14 1.60311 60.60
SK15 1.62296 58.06  SK16 1.62041 60.33  SSK2 1.62230 53.13  SSK4 1.61765 55.14  SSK4A 1.61765 55.14  SSKN5 1.65844 50.88
SSKN8 1.61772 49.78  BALF4 1.57956 53.71  BALF5 1.54739 53.63  BAF4 1.60562 43.93  BAF9 1.64328 47.96  BAF10 1.67003 47.11
BAFN10 1.67003 47.11  BAF51 1.65224 44.93  BASF2 1.66446 35.83  BASF64 1.70400 39.38  BASF64A 1.70400 39.38  F1 1.62588 35.70
F3 1.61293 37.04  F4 1.61659 36.63  LF7 1.57501 41.49  LLF6 1.53172 48.76  SF3 1.74000 28.20  SF8 1.68893 31.18  SF12 1.64831 33.84
SF14 1.76182 26.53  SF15 1.69895 30.07  SF18 1.72151 29.25  SF66 1.92286 20.88  SFL4 1.75520 27.21  SFL6 1.80518 25.39  SFL11 1.78472 25.76
SFL57 1.84666 23.62  KF9 1.52341 51.49  KZFSN4 1.61340 44.30  KZFSN5 1.65412 39.63  FK5 1.48749 70.41  FK51 1.48656 84.47
FK54 1.43700 90.70  PK51A 1.52855 76.98  PSK3 1.55232 63.46  PSK53A 1.62014 63.48  LAK8 1.71300 53.83  LAK9 1.69100 54.71
LAK10 1.72000 50.41  LAKN7 1.65160 58.52  LAK7 1.65160 58.52  LAKN12 1.67790 55.20  LAKN13 1.69350 53.33  LAK13 1.69350 53.33
LAKN14 1.69680 55.41  LAK14 1.69680 55.41  LAKN22 1.65113 55.89  LAK21 1.64050 60.10  LAF2 1.74400 44.72  LAFN2 1.74400 44.72
LAF3 1.71700 47.96  LAFN21 1.78831 47.39  LASF9 1.85025 32.17  LASFN9 1.85025 32.17  LASFN31 1.88067 41.01
"""

HOYA = """
BSC7 1.51680 64.20  FC5 1.48749 70.44  FCD1 1.49700 81.61  BACD2 1.60738 56.71  BACD4 1.61272 58.58  BACD5 1.58913 61.25
BACD11 1.56384 60.83  BACD14 1.60311 60.69  BACD15 1.62299 58.12  BACD16 1.62041 60.34  BACD18 1.63854 55.45  BAC4 1.56883 56.04
LAC7 1.65160 58.40  LAC8 1.71300 53.94  LAC9 1.69100 54.70  LAC10 1.72000 50.34  LAC13 1.69350 53.34  LAC14 1.69680 55.46
TAF1 1.77250 49.62  TAF3 1.80420 46.50  TAFD30 1.88300 40.81  E-F2 1.62004 36.30  E-FD1 1.71736 29.50  E-FD2 1.64769 33.84
E-FD4 1.75520 27.53  E-FD5 1.67270 32.17  E-FD8 1.68893 31.16  E-FD10 1.72825 28.32  E-FD13 1.74077 27.76  E-FD15 1.69895 30.05
E-FEL1 1.54814 45.82  FD60 1.80518 25.46  FD110 1.78472 25.72  FD140 1.76182 26.61  FDS90 1.84666 23.78  NBF1 1.74330 49.22
NBFD10 1.83400 37.34
"""

CDGM = """
H-K9L 1.51680 64.20  H-QK3L 1.48749 70.44  H-FK61 1.49700 81.59  H-BAK7 1.56883 56.06  H-ZK3 1.58913 61.25  H-ZK9A 1.62041 60.34
H-F4 1.62005 36.35  H-ZF1 1.64769 33.84  H-ZF2 1.67270 32.17  H-ZF3 1.71736 29.50  H-ZF4A 1.72825 28.32  H-ZF6 1.75520 27.54
H-ZF7LA 1.80518 25.48  H-ZF12 1.76182 26.61  H-ZF13 1.78472 25.72  H-ZF52A 1.84666 23.79  H-LAK7A 1.71300 53.87  H-LAK51A 1.69680 55.53
H-ZLAF50D 1.80400 46.57  H-ZLAF55D 1.83481 42.73  H-ZLAF68C 1.88300 40.80
"""

TRADE = """
K9 1.51680 64.20  K9L 1.51680 64.20  BOROSILICATECROWN 1.51680 64.17  B270 1.52300 58.50  PYREX 1.47400 65.40  BOROFLOAT 1.47140 65.41
FUSEDSILICA 1.45846 67.82  UVFUSEDSILICA 1.45846 67.82  UVFS 1.45846 67.82  FUSEDQUARTZ 1.45846 67.82  SYNTHETICQUARTZ 1.45846 67.82
QUARTZGLASS 1.45846 67.82  SILICA 1.45846 67.82  SIO2 1.45846 67.82  CALCIUMFLUORIDE 1.43385 95.00  FLUORITE 1.43385 95.00
MAGNESIUMFLUORIDE 1.37774 106.22  MGF2 1.37774 106.22  BARIUMFLUORIDE 1.47448 81.61  LITHIUMFLUORIDE 1.39215 97.29
SAPPHIRE 1.76817 72.31  AL2O3 1.76817 72.31  ZNS 2.36769 15.43  ZINCSULFIDE 2.36769 15.43  ZINCSULPHIDE 2.36769 15.43
"""

IN_WORDS = {"GERMANIUM": "Ge", "SILICON": "Si", "ZINCSELENIDE": "ZnSe"}
"""Names in words of materials that are dark at the lines of n_d and v_d, and their formulas."""

MAKERS = ("SCHOTT", "OHARA", "HOYA", "CDGM")
DECORATION = re.compile(r"\b(?:SCHOTT|OHARA|HOYA|CDGM|GLASS)\b|[(),;:]", re.IGNORECASE)


def plain(name: str) -> str:
    """A name without spaces, hyphens and case: N-BK7, n bk7 and NBK7 are one."""
    return re.sub(r"[\s_-]", "", name).upper()


def without_maker(name: str) -> tuple[str, str | None]:
    """A name without its maker's word and without brackets, plain, and the maker that it names: "SCHOTT N-SF5" is NSF5 of SCHOTT."""
    maker = next((maker for maker in MAKERS if re.search(rf"\b{maker}\b", name, re.IGNORECASE)), None)
    return plain(DECORATION.sub(" ", name)), maker


def published_glass(name: str) -> PublishedGlass | None:
    """The published glass of a name that the rates do not have; `None` for an unknown name, or one of another maker."""
    bare, maker = without_maker(name)
    glass = _BY_NAME.get(bare)
    return glass if glass is not None and maker in (None, glass.maker) else None


def _read(maker: str, table: str) -> dict[str, PublishedGlass]:
    words = table.split()
    return {plain(name): PublishedGlass(maker, float(nd), float(vd)) for name, nd, vd in zip(*[iter(words)] * 3, strict=True)}


_BY_NAME: dict[str, PublishedGlass] = {
    **_read("the trade", TRADE), **_read("CDGM", CDGM), **_read("HOYA", HOYA), **_read("SCHOTT", FORMER_SCHOTT),
}  # fmt: skip
