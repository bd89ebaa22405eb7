"""Which half of the earth a rider lives in, from the time zone: the southern half has its summer in January."""

# Zones whose principal place lies south of the equator: IANA time zone database, zone.tab (2025b), latitude below nought.
_SOUTHERN = {
    "Africa": (
        "Blantyre Brazzaville Bujumbura Dar_es_Salaam Gaborone Harare Johannesburg Kigali Kinshasa Luanda "
        "Lubumbashi Lusaka Maputo Maseru Mbabane Nairobi Windhoek "
    ),
    "America": (
        "Araguaina Argentina/Buenos_Aires Argentina/Catamarca Argentina/Cordoba Argentina/Jujuy "
        "Argentina/La_Rioja Argentina/Mendoza Argentina/Rio_Gallegos Argentina/Salta Argentina/San_Juan "
        "Argentina/San_Luis Argentina/Tucuman Argentina/Ushuaia Asuncion Bahia Belem Campo_Grande Coyhaique "
        "Cuiaba Eirunepe Fortaleza Guayaquil La_Paz Lima Maceio Manaus Montevideo Noronha Porto_Velho "
        "Punta_Arenas Recife Rio_Branco Santarem Santiago Sao_Paulo "
    ),
    "Antarctica": ("Casey Davis DumontDUrville Macquarie Mawson McMurdo Palmer Rothera Syowa Troll Vostok "),
    "Asia": ("Dili Jakarta Jayapura Makassar Pontianak "),
    "Atlantic": ("South_Georgia St_Helena Stanley "),
    "Australia": ("Adelaide Brisbane Broken_Hill Darwin Eucla Hobart Lindeman Lord_Howe Melbourne Perth Sydney "),
    "Indian": ("Antananarivo Chagos Christmas Cocos Comoro Kerguelen Mahe Mauritius Mayotte Reunion "),
    "Pacific": (
        "Apia Auckland Bougainville Chatham Easter Efate Fakaofo Fiji Funafuti Galapagos Gambier Guadalcanal "
        "Kanton Marquesas Nauru Niue Norfolk Noumea Pago_Pago Pitcairn Port_Moresby Rarotonga Tahiti "
        "Tongatapu Wallis "
    ),
}
# Names that the database keeps as links to zones above (file `backward`).
_LINKS = {
    "Australia/ACT", "Australia/Canberra", "Australia/NSW", "Australia/North", "Australia/Queensland", "Australia/South",
    "Australia/Tasmania", "Australia/Victoria", "Australia/West", "Brazil/Acre", "Brazil/DeNoronha", "Brazil/East",
    "Brazil/West", "Chile/Continental", "Chile/EasterIsland", "NZ", "NZ-CHAT",
}  # fmt: skip
SOUTHERN_ZONES = frozenset(f"{area}/{place}" for area, places in _SOUTHERN.items() for place in places.split()) | _LINKS


def is_southern(time_zone: str) -> bool:
    """Return whether riders in this time zone have their seasons six months shifted; unknown names are northern."""
    return time_zone in SOUTHERN_ZONES
