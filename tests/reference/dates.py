"""Dates and times in drawn forms, written and read by Python, for tests/dates.rs.

    python3 -m venv v && v/bin/pip install babel==2.19.0 openpyxl==3.1.5
    v/bin/python tests/reference/dates.py > tests/reference/dates.tsv

Each form is written by strftime or from Unicode CLDR's names (Babel) and read back by Python's own parsers: datetime.strptime with the form,
datetime.fromtimestamp for epoch seconds, openpyxl.utils.datetime.from_excel for day numbers of spreadsheets. Names of months that
strptime does not know are put into numbers by CLDR's table first. What strptime refuses, such as 31 February, stands with "-".

Columns, with tabs between: order of numbers (d, m, y; - where none is needed), date cell, time cell, and the UTC instant that is meant,
in milliseconds since 1970; times without a zone are UTC.
"""

import random
import re
from datetime import datetime, timedelta, timezone

from babel import Locale
from openpyxl.utils.datetime import from_excel

DRAW = random.Random(20261014)
LANGUAGES = ["en", "de", "fr", "es", "pt", "it", "nl", "pl", "sv", "nb", "nn", "da", "fi"]
NUMBERS = [
    ("d", "%d/%m/%Y"), ("m", "%m/%d/%Y"), ("-", "%Y/%m/%d"), ("d", "%d.%m.%Y"), ("d", "%d-%m-%Y"), ("m", "%m-%d-%Y"), ("-", "%Y.%m.%d"),
    ("-", "%Y-%m-%d"), ("d", "%d %m %Y"), ("-", "%Y %m %d"), ("d", "%d/%m/%y"), ("m", "%m/%d/%y"), ("d", "%d.%m.%y"), ("y", "%y-%m-%d"),
    ("d", "%d-%m-%y"), ("d", "%d. %m. %Y"), ("m", "%m.%d.%Y"), ("d", "%d/%m-%Y"),
]
COMPACT = [("-", "%Y%m%d"), ("d", "%d%m%Y"), ("m", "%m%d%Y"), ("y", "%y%m%d"), ("d", "%d%m%y")]
NAMED = [
    "%d %B %Y", "%d %b %Y", "%d-%b-%Y", "%d-%b-%y", "%b %d, %Y", "%B %d, %Y", "%A, %d %B %Y", "%a %d %b %Y", "%d%b%Y", "%Y %b %d",
    "%Y-%b-%d", "%d/%b/%Y", "%d. %B %Y",
]
CLOCKS = [
    "%H:%M", "%H:%M:%S", "%H:%M:%S.%f", "%H:%M:%S,%f", "%I:%M %p", "%I:%M:%S %p", "%I:%M%p", "%Hh%M", "%H h %M", "%H.%M", "%H.%M.%S",
    "%H:%M Uhr", "%H.%M Uhr", "kl. %H.%M", "klo %H.%M", "%Hu%M", "%H:%M:%S", "%Hh%Mm%Ss", "%H:%M h",
]
OF_COMPACT = ["%H%M", "%H%M%S"]


def drawn():
    moment = datetime(1990, 1, 1) + timedelta(milliseconds=DRAW.randrange(int(45 * 365.25 * 86_400_000)))
    return moment


def names(language):
    """Month names of a language, whole and short, as they stand in dates and alone, and of its days of the week."""
    locale = Locale.parse(language)
    months = [(context, width) for context in ("format", "stand-alone") for width in ("wide", "abbreviated")]
    return [locale.months[context][width] for context, width in months], locale.days["format"]


def written(moment, form, language):
    """The moment in a form, with the names of a language; and the form and text that strptime can read."""
    months, days = names(language)
    table = DRAW.choice(months)
    english = {"%B": "%m", "%b": "%m"}
    text, plain, plain_form = form, form, form
    for sign, number in english.items():
        text = text.replace(sign, table[moment.month])
        plain = plain.replace(sign, "%m")
        plain_form = plain_form.replace(sign, "%m")
    for sign, width in (("%A", "wide"), ("%a", "abbreviated")):
        text = text.replace(sign, days[width][moment.weekday()])
        plain = re.sub(sign + ",? ", "", plain)
        plain_form = re.sub(sign + ",? ", "", plain_form)
    # Joined to digits a name needs no blank, and two digits no sign.
    if "%d%m%Y" in plain_form:
        plain, plain_form = plain.replace("%d%m%Y", "%d %m %Y"), plain_form.replace("%d%m%Y", "%d %m %Y")
    return moment.strftime(text), moment.strftime(plain), plain_form


def unpadded(text, form):
    """Zeros in front of days, months and hours left out, as people do; a year of two digits keeps its own."""
    if DRAW.random() < 0.7 or "%y" in form:
        return text
    if ":" in form or "%H" in form or "%I" in form:
        return re.sub(r"^(\D*)0(?=\d)", r"\1", text)
    return re.sub(r"(?<!\d)0(?=\d(?!\d))", "", text)


def halves(text):
    """AM and PM as people write them."""
    ways = {"AM": ["AM", "am", "a.m.", "a. m."], "PM": ["PM", "pm", "p.m.", "p. m."]}
    return re.sub("AM|PM", lambda found: DRAW.choice(ways[found[0]]), text)


def milliseconds(moment):
    return round((moment.replace(tzinfo=timezone.utc) - datetime(1970, 1, 1, tzinfo=timezone.utc)) / timedelta(milliseconds=1))


def row(order, date, time, value):
    if "\t" in date + time:
        raise ValueError((date, time))
    print(order, date, time, value, sep="\t")


def python_reads(text, form):
    try:
        return datetime.strptime(text, form)
    except ValueError:
        return None


def zone():
    minutes = DRAW.choice([0, 60, 120, -240, 330, -570, 765])
    sign = "-" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    text = DRAW.choice([f"{sign}{hours:02}:{rest:02}", f"{sign}{hours:02}{rest:02}", f" {sign}{hours:02}:{rest:02}"])
    if minutes == 0:
        text = DRAW.choice([text, "Z", " UTC"])
    return text, timedelta(minutes=minutes)


def one():
    moment = drawn()
    kind = DRAW.random()
    language = DRAW.choice(LANGUAGES)
    if kind < 0.04:
        # Epoch seconds, and milliseconds.
        seconds = DRAW.randrange(1_000_000_000, 2_500_000_000)
        text, value = DRAW.choice([(f"{seconds}", seconds * 1000), (f"{seconds}.{250}", seconds * 1000 + 250), (f"{seconds}123", seconds * 1000 + 123)])
        assert value == round(datetime.fromtimestamp(value / 1000, timezone.utc).timestamp() * 1000)
        return row("-", "", text, value)
    if kind < 0.10:
        serial = round(DRAW.uniform(33_000, 50_000), DRAW.choice([3, 5, 9]))
        text = f"{serial}".replace(".", DRAW.choice([".", ","]))
        exact = from_excel(serial)
        # Spreadsheets count in floating point: openpyxl rounds to a microsecond.
        return row("-", "", text, milliseconds((exact + timedelta(microseconds=500)).replace(microsecond=(exact + timedelta(microseconds=500)).microsecond // 1000 * 1000)))
    if kind < 0.25:
        order, form = DRAW.choice(COMPACT)
        clock = DRAW.choice(OF_COMPACT)
        between = DRAW.choice([" ", "T", "_"] + ([""] if "%Y" in form else []))
        text = moment.strftime(form + between + clock)
        return row(order, "", text, milliseconds(datetime.strptime(text, form + between + clock)))
    if kind < 0.55:
        order, form = DRAW.choice(NUMBERS)
        date_text = unpadded(moment.strftime(form), form)
        date_plain, date_form = date_text, form
    else:
        order, form = "-", DRAW.choice(NAMED)
        date_text, date_plain, date_form = written(moment, form, language)
        date_text = unpadded(date_text, form)
    clock = DRAW.choice(CLOCKS)
    time_text = moment.strftime(clock)
    if "%f" in clock:
        time_text = time_text[:-3]
    time_text = halves(unpadded(time_text, clock))
    plain_time = re.sub("([ap])\\. ?m\\.", "\\1m", time_text)
    read = datetime.strptime(f"{date_plain} {plain_time}", f"{date_form} {clock}")
    if DRAW.random() < 0.25 and clock.startswith("%H:%M:%S"):
        text, offset = zone()
        time_text, read = time_text + text, read - offset
    shape = DRAW.random()
    if shape < 0.4:
        return row(order, date_text, time_text, milliseconds(read))
    if shape < 0.9 or not clock.startswith("%H:%M") or form in ("%d %m %Y", "%Y %m %d") or time_text[-1:].isdigit() is False:
        return row(order, "", date_text + DRAW.choice([" ", ", "] if "%" in form else [" "]) + time_text, milliseconds(read))
    return row(order, "", time_text + " " + date_text, milliseconds(read))


def none():
    """What no calendar and no clock has."""
    while True:
        order, form = DRAW.choice(NUMBERS)
        values = {"%d": DRAW.randrange(0, 40), "%m": DRAW.randrange(0, 16), "%H": DRAW.randrange(0, 30), "%M": DRAW.randrange(0, 70)}
        year = DRAW.randrange(1990, 2036)
        text = form
        for sign, value in values.items():
            text = text.replace(sign, f"{value:02}")
        text = text.replace("%Y", str(year)).replace("%y", f"{year % 100:02}")
        clock = f"{values['%H']:02}:{values['%M']:02}"
        if python_reads(f"{text} {clock}", form + " %H:%M") is None:
            return row(order, "", f"{text} {clock}", "-")


for index in range(10_000):
    none() if index % 20 == 0 else one()
