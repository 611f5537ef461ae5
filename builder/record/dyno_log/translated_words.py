"""Header words of logs in German, French, Spanish and Italian, without accents and in lower case.

The words are common practice, no source. Prepositions are left out, as the header's reader leaves them out.
"""

from __future__ import annotations

from collections.abc import Mapping

TRANSLATED_WORDS: Mapping[str, tuple[str, ...]] = {
    "time": ("zeit", "messzeit", "temps", "tiempo", "tempo"),
    "engine_speed": (
        "drehzahl", "motordrehzahl", "umdrehungen", "kurbelwellendrehzahl",
        "regime", "regime moteur", "vitesse moteur", "vitesse rotation",
        "regimen", "regimen motor", "revoluciones", "velocidad motor", "velocidad giro", "giro",
        "giri", "giri motore", "numero giri", "regime motore", "velocita motore", "velocita rotazione",
    ),
    "torque": (
        "drehmoment", "drehmom", "moment",
        "motordrehmoment", "motormoment", "couple", "couple moteur", "par", "par motor",
        "momento", "coppia", "coppia motore", "momento torcente",
    ),
    "power": (
        "leistung", "motorleistung", "puissance", "puissance moteur", "potencia", "potencia motor",
        "potenza", "potenza motore",
    ),
    "fuel_flow": (
        "kraftstoffmassenstrom", "kraftstoffstrom", "kraftstoffverbrauch", "kraftstoffdurchfluss",
        "debit carburant", "debit essence", "consommation carburant", "consommation", "caudal combustible",
        "flujo combustible", "consumo combustible", "consumo", "portata carburante", "consumo carburante",
        "portata combustibile", "verbrauch",
    ),
    "air_flow": (
        "luftmassenstrom", "luftmasse", "luftmenge", "luftstrom", "luftdurchsatz", "debit air", "debit d air",
        "caudal aire", "flujo aire", "portata aria", "portata d aria",
    ),
    "afr": ("luft kraftstoff verhaltnis", "rapport air carburant", "relacion aire combustible",
            "rapporto aria carburante"),
    "lambda": ("luftverhaltnis", "luftzahl", "richesse lambda", "sonda lambda", "sonde lambda", "lambdasonde"),
    "spark_advance": (
        "zundzeitpunkt", "zuendzeitpunkt", "zundwinkel", "zuendwinkel", "zundung", "zuendung", "fruhzundung",
        "avance", "avance allumage", "avance a l allumage", "avance encendido", "encendido", "anticipo",
        "anticipo accensione", "anticipo all accensione",
    ),
    "oil_pressure": (
        "oldruck", "oeldruck", "motoroldruck", "pression huile", "pression d huile", "presion aceite",
        "pressione olio",
    ),
    "fuel_pressure": (
        "kraftstoffdruck", "benzindruck", "pression carburant", "pression essence", "presion combustible",
        "presion gasolina", "pressione carburante", "pressione benzina",
    ),
    "oil_temperature": (
        "oltemperatur", "oeltemperatur", "oltemp", "oeltemp", "ol temp", "temperature huile", "temperature d huile",
        "temp huile", "temperatura aceite", "temp aceite", "temperatura olio", "temp olio",
    ),
    "coolant_temperature": (
        "kuhlmitteltemperatur", "kuehlmitteltemperatur", "kuhlwassertemperatur", "kuehlwassertemperatur",
        "wassertemperatur", "wassertemp", "temperature eau", "temperature d eau", "temp eau",
        "temperature liquide refroidissement", "temperatura agua", "temp agua", "temperatura refrigerante",
        "temperatura acqua", "temp acqua", "temperatura liquido refrigerante",
    ),
    "exhaust_temperature": (
        "abgastemperatur", "abgastemp", "temperature echappement", "temperature d echappement", "temp echappement",
        "temperatura escape", "temp escape", "temperatura gases escape", "temperatura scarico", "temp scarico",
        "temperatura gas scarico",
    ),
    "manifold_pressure": (
        "saugrohrdruck", "pression admission", "pression d admission", "pression collecteur", "presion admision",
        "presion colector", "pressione collettore", "pressione aspirazione",
    ),
    "boost_pressure": (
        "ladedruck", "pression suralimentation", "pression turbo", "presion turbo", "presion sobrealimentacion",
        "pressione turbo", "pressione sovralimentazione",
    ),
    "manifold_vacuum": (
        "unterdruck", "saugrohrunterdruck", "depression", "depression admission", "depresion", "vacio",
        "vacio admision", "depressione", "depressione collettore",
    ),
    "turbo_speed": (
        "turboladerdrehzahl", "laderdrehzahl", "turbodrehzahl", "regime turbo", "regimen turbo", "giri turbo",
        "velocidad turbo",
    ),
    "charge_temperature": (
        "ladelufttemperatur", "ladelufttemp", "saugrohrtemperatur", "temperature collecteur",
        "temperature air suralimentation", "temperatura colector", "temperatura collettore",
    ),
    "battery_voltage": (
        "batteriespannung", "bordspannung", "tension batterie", "tension bateria", "voltaje bateria", "batteria",
        "tensione batteria", "voltaje",
    ),
    "blow_by": ("kurbelgehausegase", "leckgas", "leckgasmenge"),
    "barometer": (
        "luftdruck", "umgebungsdruck", "barometerdruck", "pression atmospherique", "pression barometrique",
        "presion atmosferica", "presion barometrica", "pressione atmosferica", "pressione barometrica", "barometro",
        "barometre",
    ),
    "air_temperature": (
        "lufttemperatur", "lufttemp", "umgebungstemperatur", "ansauglufttemperatur", "ansaugtemperatur",
        "temperature air", "temperature d air", "temp air", "temperature ambiante", "temperature admission",
        "temperature d admission", "temperatura aire", "temp aire", "temperatura ambiente", "temperatura admision",
        "temperatura aria", "temp aria", "temperatura aspirazione",
    ),
    "relative_humidity": (
        "luftfeuchtigkeit", "luftfeuchte", "feuchte", "relative luftfeuchte", "relative luftfeuchtigkeit", "humidite",
        "humidite relative", "humedad", "humedad relativa", "umidita", "umidita relativa",
    ),
    "throttle": (
        "drosselklappe", "drosselklappenwinkel", "drosselklappenstellung", "papillon", "position papillon",
        "mariposa", "posicion mariposa", "farfalla", "posizione farfalla",
    ),
    "injector_pulse": (
        "einspritzzeit", "einspritzdauer", "temps injection", "temps d injection", "tiempo inyeccion",
        "tempo iniezione",
    ),
}  # fmt: skip
"""The words for each channel, by its slug. Where two channels share their English words, those of the first."""
