"""Words that people write for units: spelt out, in other letters, abbreviated, in some languages.

From memory, and surely not all. They serve to see that a cell shows another unit than its column
has; which codes a request takes stands in `metrology.quantity`.
"""

import re
from typing import Final

from weighworthy_service.metrology.quantity import UNITS

_WORDS: Final = {
    "g": "gr gm gram grams gramm gramme grammes grammo grammi gramo gramos г",
    "mg": "mgs milligram milligrams milligramm milligramme milligrammes milligrammo milligrammi "
    "miligramo miligramos мг",
    "kg": "kgs kilo kilos kilogram kilograms kilogramm kilogramme kilogrammes chilogrammo "
    "chilogrammi kilogramo kilogramos кг",
    "ug": "mcg microgram micrograms mikrogramm microgramme microgrammes microgrammo microgrammi "
    "microgramo microgramos мкг",
    "s": "sec secs second seconds sek sekunde sekunden seconde secondes secondi segundos",
    "min": "mins minute minutes minuten minuti minutos",
    "h": "hr hrs hour hours std stunde stunden heure heures ore horas",
    "Cel": "℃ celsius",
    "K": "kelvin kelvins",
    "hPa": "mbar hectopascal hektopascal",
    "kPa": "kilopascal",
    "Pa": "pascal pascals",
    "kg/m3": "kg/m³",
    "g/cm3": "g/cm³ g/ml",
}
# Of these no field takes any.
_OTHERS: Final = (
    "ng nanogram nanograms ct carat carats karat oz ounce ounces lb lbs pound pounds grain grains "
    "gn dwt ton tons tonne tonnes ms day days tag tage jour jours °f ℉ fahrenheit bar mmhg inhg "
    "torr psi atm ppm ‰ kg/l"
)
# What case tells apart, in one letter.
_LETTERS: Final = {"C": "Cel", "F": "°F", "K": "K", "t": "t"}
_CODES: Final = {unit: unit for units in UNITS.values() for unit in units}
_MEANT: Final = {
    **{word: word for word in _OTHERS.split()},
    **{unit.casefold(): unit for unit in _CODES if unit != "K"},
    **{word: unit for unit, words in _WORDS.items() for word in words.split()},
}
_WORD: Final = re.compile(r"[^\s\d.,()\[\]/+\-−±#?]+")
_QUOTIENT: Final = re.compile(rf"(?<!\S)({_WORD.pattern})/({_WORD.pattern}[23]?)")


def unit_in(text: str) -> str | None:
    """The first unit that a text speaks of: its code, or the word for one that no field takes."""
    for found in _QUOTIENT.finditer(text):
        meant = _meant(found[0])
        if meant is not None or (_meant(found[1]) and _meant(found[2])):
            return meant or found[0]
    return next(filter(None, map(_meant, _WORD.findall(text))), None)


def _meant(word: str) -> str | None:
    return _CODES.get(word) or _LETTERS.get(word) or _MEANT.get(word.casefold())
