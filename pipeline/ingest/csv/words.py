"""Everyday words that head a column of points, in several languages, and our name for each.

Words are compared without case, accents, punctuation or a unit behind them. Only
words that mean one thing are here: ``X`` and ``Y`` are not (X is easting in some
national grids and northing in others), nor is a height above the ellipsoid.
"""

from __future__ import annotations

import re
import unicodedata

OURS = (
    "id", "northing", "easting", "elevation", "code", "note",
    "sigma_h", "sigma_v", "setup", "rod", "time",
)  # fmt: skip
"""Columns that a point file can fill, as ``columns`` in the job file calls them."""

COORDINATES = ("easting", "northing", "elevation")
LENGTHS = (*COORDINATES, "sigma_h", "sigma_v", "rod")

_LISTS = {
    "id": """
        id; point; pt; pnt; point id; pointid; point no; point nr; point num; point number;
        point name; pointname; pt id; pt no; pt name; name; no; nr; num; number; target; shot;
        shot id; punkt; punkt nr; punktnr; punktnummer; punkt id; pkt; pkt nr; nummer; numero;
        n°; nº; numero du point; no point; nom; nom du point; punto; punto n;
        num punto; nombre; ponto; nome; vertice; piste; pistenumero; piste nro; nro; punktnamn;
        punktnavn; punt; puntnummer; cislo bodu; bod; numer; numer punktu; tocka; номер; точка;
        номер точки; 点名; 点号; 点番; 点番号; 測点; 測点名; 番号
    """,
    "northing": """
        n; north; northing; northings; grid north; grid northing; y north; x north; nord;
        nordwert; hochwert; norden; norte; pohjoinen; pohjoiskoordinaatti; nordkoordinat;
        nordlig; noord; sever; polnoc; север; 北; 北坐标; 北距
    """,
    "easting": """
        e; east; easting; eastings; grid east; grid easting; x east; y east; ost; ostwert;
        rechtswert; osten; est; este; leste; ita; itakoordinaatti; ostkoordinat; ostlig; øst;
        østkoordinat; østlig; oost; vychod; vzhod; wschod; восток; 东; 東; 东坐标; 东距
    """,
    "elevation": """
        z; h; ele; elev; elevation; elevations; el; height; level; rl; reduced level;
        orthometric height; ground elevation; ground level; alt; altitude; altitud; altura;
        hohe; hoehe; kote; kota; cota; quota; cote; niveau; hoogte; korkeus; hojd; hoyde;
        høyde; hoejde; højde; vyska; wysokosc; visina; высота; отметка; 高程; 标高; 標高; 高さ
    """,
    "code": """
        code; codes; feature; feature code; point code; pt code; kode; kod; koodi;
        codigo; codice; objektcode; punktcode; punktkode; kood; код; コード; 代码; 编码
    """,
    "description": """
        d; desc; description; descriptor; descr; beschreibung; bezeichnung; descripcion;
        descricao; descrizione; kuvaus; beskrivning; beskrivelse; omschrijving; popis; opis;
        описание
    """,
    "note": """
        note; notes; remark; remarks; comment; comments; field note; bemerkung; anmerkung;
        remarque; remarques; commentaire; kommentar; kommentti; huomautus; nota; notas;
        observacion; observaciones; osservazioni; opmerking; poznamka; uwagi; примечание; 备注;
        備考
    """,
    "sigma_h": """
        hrms; h rms; hz rms; rms h; horizontal rms; sigma h; sigmah; sd h; horizontal sd;
        hsigma; horizontal sigma; horizontal accuracy; horizontal precision; hz precision;
        h precision; h acc; hacc; lagegenauigkeit
    """,
    "sigma_v": """
        vrms; v rms; rms v; vertical rms; sigma v; sigmav; sigma z; sd v; vertical sd; vsigma;
        vertical sigma; vertical accuracy; vertical precision; v precision; v acc; vacc;
        hohengenauigkeit; hoehengenauigkeit
    """,
    "setup": """
        setup; set up; setup id; setup no; instrument setup; instrument station; occupation;
        occupied; standpunkt; aufstellung; uppstallning; oppstilling; opstilling; opstelling;
        stationnement; estacion; kojepiste
    """,
    "rod": """
        rod; rod height; rod hgt; pole; pole height; target height; prism height;
        reflector height; ht; hr; th; staff height; antenna height; stabhohe; reflektorhohe;
        zielhohe; prismenhohe; hauteur prisme; hauteur canne; altura prisma; altura jalon;
        stanghojd; stanghoyde; signaalkorkeus; prismahoogte
    """,
    "time": """
        time; time stamp; timestamp; date time; datetime; utc; utc time; local time; zeit;
        uhrzeit; zeitstempel; heure; hora; ora; aika; tid; klokkeslett; tijd; cas; czas; время;
        时间; 時刻
    """,
    "date": "date; day; datum; fecha; data; pvm; dato; paivays; дата; 日期; 日付",
    "ambiguous": "x; y",
    "geographic": """
        lat; latitude; lon; long; lng; longitude; breite; lange; laenge; latitud; longitud;
        latitudine; longitudine; leveysaste; pituusaste; ellipsoid height; ellipsoidal height;
        ell height; ellh; hell; hae; ellipsoidische hohe
    """,
}  # fmt: skip

UNITS = {
    "m": "m", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
    "ft": "feet", "feet": "feet", "foot": "feet",
    "ftus": "ftUS", "usft": "ftUS", "us ft": "ftUS",
    "us survey foot": "ftUS", "us survey feet": "ftUS",
    "mm": "mm", "millimeter": "mm", "millimetre": "mm",
    "cm": "cm", "centimeter": "cm", "centimetre": "cm",
}  # fmt: skip
"""Unit words behind a column's word; ``feet`` is either foot, whichever the job file states."""

_BRACKETS = re.compile(r"[\(\[\{]([^\)\]\}]*)[\)\]\}]")
_JOINERS = re.compile(r"[\s_\-./:,'\"#*]+")
_PLAIN_MARK = re.compile("[\u200b-\u200f\u2028-\u202e\u2066-\u2069\ufeff]")


def plain(word: str) -> str:
    """A header's word as words are compared: no case, accents, punctuation or double blanks.

    Examples
    --------
    >>> plain(' "Point_No." '), plain("Höhe")
    ('point no', 'hohe')
    """
    folded = unicodedata.normalize("NFKD", _PLAIN_MARK.sub("", word)).casefold()
    bare = "".join(mark for mark in folded if not unicodedata.combining(mark))
    return _JOINERS.sub(" ", bare).strip()


_MEANING = {plain(word): ours for ours, words in _LISTS.items() for word in words.split(";")}


def split_unit(word: str) -> tuple[str, str]:
    """(the word without its unit, the unit or ``""``).

    Examples
    --------
    >>> split_unit("Northing (m)"), split_unit("elev_ft"), split_unit("m")
    (('northing', 'm'), ('elev', 'feet'), ('m', ''))
    """
    inside = _BRACKETS.search(word)
    unit = UNITS.get(plain(inside[1]), "") if inside else ""
    if unit and (bare := plain(_BRACKETS.sub(" ", word))):
        return bare, unit
    # brackets that hold no unit may change the meaning: "Height (ellipsoidal)"
    bare = plain(re.sub(r"[\(\)\[\]{}]", " ", word))
    head, _, tail = bare.rpartition(" ")
    if head and tail in UNITS:
        return head, UNITS[tail]
    return bare, ""


def meaning(word: str) -> str:
    """Our column, or ``description``, ``date``, ``ambiguous``, ``geographic``; else ``""``."""
    return _MEANING.get(split_unit(word)[0], "")
