"""From the words on a waybill to a row of the commodity table, or to a refusal.

Matching is by whole words of listed phrases and nothing else: no distance, no guess. What may be dangerous is
refused first; what is not recognised is said to be unknown.
"""

import re

from thermal.commodities import HAZARDS, Commodity, HazardousLoad, UnknownCommodity, all_commodities

__all__ = ["classify_goods"]

# Words that make a load dangerous whatever else the text says ("non-flammable" too: a person decides).
# Common practice, no source; the case behind them is Class 3 paint asking for heat in winter (PHMSA letter
# 07-0037 asks it, its answer was not seen; 49 CFR 177.834(l) limits cargo heaters).
DANGER = (
    *("flammable", "inflammable", "class 3", "solvent", "thinner", "lacquer", "varnish", "shellac", "alkyd"),
    *("oil based", "epoxy", "turpentine", "acetone", "xylene", "toluene", "white spirit", "contact cement"),
    *("petrol", "gasoline", "kerosene", "diesel", "ethanol", "methanol", "propane", "butane", "aerosol"),
    *("spirits", "whisky", "whiskey", "vodka", "rum", "gin", "brandy", "liquor", "perfume", "sanitizer"),
    *("sanitiser", "explosive", "firework", "battery", "lithium", "bleach", "acid", "pesticide", "hazmat"),
    "dangerous goods",
)
UN_NUMBER = re.compile(r"\bun\s?\d{4}\b")
WATERY = ("latex", "water-based", "water based", "waterborne", "emulsion", "pva", "acrylic emulsion")
CLASS_UNSTATED = {
    "paint": ("paint", "paints", "coating", "coatings", "primer", "stain"),
    "adhesive": ("adhesive", "adhesives", "glue", "glues", "sealant", "sealants"),
}


def classify_goods(text: str) -> Commodity:
    """Row of the commodity table that a description names.

    Parameters
    ----------
    text : str
        Description of the goods as somebody wrote it.

    Returns
    -------
    Commodity
        The only row whose phrase the text holds; a longer phrase wins over one it contains ("sweet potato"
        over "potato").

    Raises
    ------
    HazardousLoad
        The text names a danger, a UN number, or paint or adhesive without saying that it is water-based.
    UnknownCommodity
        No row, or more than one, is named.

    Examples
    --------
    >>> classify_goods("18 pallets of sweet potatoes").key
    'sweetpotato'
    """
    words = re.sub(r"[^\w.-]+", " ", text.lower()).strip()
    _refuse_danger(words, text)
    found = {goods.key: goods for goods in _longest_matches(words)}
    if len(found) != 1:
        what = f"names {', '.join(sorted(found))}" if found else "names nothing in the table"
        raise UnknownCommodity(f"{text!r} {what}", field="goods", value=text, limit=tuple(sorted(found)))
    return next(iter(found.values()))


def _refuse_danger(words: str, text: str) -> None:
    spaced = words.replace("-", " ")
    for phrase in DANGER:
        if _holds(spaced, phrase):
            raise HazardousLoad(f"{phrase!r} in {text!r} names a danger", field="goods", value=text, limit=phrase)
    if UN_NUMBER.search(words):
        raise HazardousLoad(f"{text!r} carries a UN number", field="goods", value=text, limit="UN number")
    for key, names in CLASS_UNSTATED.items():
        if any(_holds(words, name) for name in names) and not any(_holds(words, mark) for mark in WATERY):
            raise HazardousLoad(HAZARDS[key], field="goods", value=text, limit=key)


def _longest_matches(words: str) -> list[Commodity]:
    """Rows whose phrase stands in the text, longest phrases first, each taking its words out of the text."""
    phrases = [(phrase, goods) for goods in all_commodities() for phrase in goods.aliases]
    found = []
    for phrase, goods in sorted(phrases, key=lambda pair: (-len(pair[0]), pair[0])):
        pattern = _pattern(phrase)
        if pattern.search(words):
            found.append(goods)
            words = pattern.sub(" | ", words)
    return found


def _holds(words: str, phrase: str) -> bool:
    return _pattern(phrase).search(words) is not None


def _pattern(phrase: str) -> re.Pattern[str]:
    """Whole words, singular or plural, one or more spaces or hyphens between them."""
    stem = re.escape(phrase).replace(r"\ ", r"[\s-]+").replace(r"\-", r"[\s-]+")
    if stem.endswith("y"):
        stem = stem[:-1] + "(?:y|ies)"
    return re.compile(rf"(?<![\w-]){stem}(?:s|es)?(?![\w-])")
