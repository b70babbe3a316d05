"""All words of the printed sheets, in every language that they speak. One table: a new language is a new entry."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Words:
    """The strings of one language; braces are filled in."""

    months: tuple[str, ...]
    date: str
    day: str
    title: str
    clock: str
    valid: str
    valid_one: str
    useful: str
    shares: str
    valid_share: str
    energy: str
    sky_clear: str
    sky_constant: str
    sky_file: str
    walk_off: str
    walk_off_now: str
    walk_off_none: str
    walk_off_unknown: str
    season_title: str
    span: str
    worst: str
    season_worst: str
    season_marks: str
    swivel_long: str
    ahead: str
    set_at: str
    good_until: str
    tilt: str
    swivel: str
    compass: str
    power: str
    declination: str
    hour_angle: str
    facing: str
    cover_until: str
    nothing: str
    no_compass: str
    compass_example: str
    order: tuple[str, str, str, str, str]
    night: str
    page: str
    cautions: tuple[str, ...]


WORDS: Mapping[str, Words] = {
    "en": Words(
        months=(
            "January",
            "February",
            "March",
            "April",
            "May",
            "June",
            "July",
            "August",
            "September",
            "October",
            "November",
            "December",
        ),
        date="{day} {month} {year}",
        day="{day} {month}",
        title="Lens settings",
        clock="Local clock time, UTC{offset}",
        valid="Valid {first} to {last}",
        valid_one="Valid on this day only",
        useful="First light {first}, last light {last}",
        shares="At least {share} % of the power of perfect aiming. Settings: {moves}.",
        valid_share="On each of these days at least {share} %.",
        energy="Settings: {moves}, for {energy} % of the day's energy; at worst {share} % of the power is left.",
        sky_clear="Power under a clear sky: clouds and haze take from it.",
        sky_constant="Power at {dni} W/m² of direct sun.",
        sky_file="Power by the weather file.",
        walk_off="Unattended, the line first reaches something that burns after {minutes} min.",
        walk_off_now="Late in a row the line already reaches something that burns: never be late with a move.",
        walk_off_none="Unattended for 2 h, the line met nothing listed that burns. Cover the lens all the same.",
        walk_off_unknown="Unattended, the line may reach something that burns within minutes.",
        season_title="Lens settings from {first} to {last}",
        span="{first} to {last}",
        worst="worst: {share} %",
        season_worst=(
            "On every day at least {share} % of the power of perfect aiming at every minute (worst on {day}, {time}); "
            "at most {loss} % of a day's energy is lost."
        ),
        season_marks="Each row: set at this time, {marks}. Cover the lens where a row says so.",
        swivel_long="swivel (true azimuth)",
        ahead="Settings are ahead of the sun on purpose. Do not correct them in between.",
        set_at="set at",
        good_until="good until",
        tilt="tilt mark",
        swivel="true",
        compass="compass",
        power="power",
        declination="declin.",
        hour_angle="hour angle",
        facing="The lens leans to true azimuth {azimuth}°.",
        cover_until="cover the lens until {time}",
        nothing="No settings on this day: keep the cover on.",
        no_compass="No compass column: the magnetic model does not cover this date.",
        compass_example="Swivel: true 90° reads {reading}° on a compass here (+-{error}°; iron nearby adds to it).",
        order=("cover on", "fill", "open the feed", "uncover", "aim"),
        night="Evening: cover on, turn away, let it cool, close the feed. Never fill hot dry tubes.",
        page="page {page} of {pages}",
        cautions=(
            (
                "Concentrated light burns skin and eyes and starts fires within seconds. Keep people, animals and all "
                "that burns out of the light; water at hand."
            ),
            "Do not look at the focus: dark glasses do not protect.",
            "Cover the lens whenever nobody attends it.",
            "Steam and hot glass burn. Never close the way out of the steam.",
            "Tubes that run dry shatter. Fill cold tubes only.",
            "Figures come from a model. Local codes and licensed practice decide.",
        ),
    ),
    "es": Words(
        months=(
            "enero",
            "febrero",
            "marzo",
            "abril",
            "mayo",
            "junio",
            "julio",
            "agosto",
            "septiembre",
            "octubre",
            "noviembre",
            "diciembre",
        ),
        date="{day} de {month} de {year}",
        day="{day} de {month}",
        title="Ajustes de la lente",
        clock="Hora local del reloj, UTC{offset}",
        valid="Válido del {first} al {last}",
        valid_one="Válido solo este día",
        useful="Primera luz {first}, última luz {last}",
        shares="Al menos {share} % de la potencia de la puntería perfecta. Ajustes: {moves}.",
        valid_share="En cada uno de estos días al menos el {share} %.",
        energy="Ajustes: {moves}, para el {energy} % de la energía del día; en el peor momento queda el {share} %.",
        sky_clear="Potencia con cielo claro: nubes y calima la reducen.",
        sky_constant="Potencia con {dni} W/m² de sol directo.",
        sky_file="Potencia según el archivo meteorológico.",
        walk_off="Sin vigilancia, la línea llega a algo que arde a los {minutes} min.",
        walk_off_now="Al final de una fila la línea ya llega a algo que arde: no se retrase nunca con un ajuste.",
        walk_off_none="Sin vigilancia 2 h, la línea no tocó nada anotado que arda. Cubra la lente igualmente.",
        walk_off_unknown="Sin vigilancia, la línea puede llegar en minutos a algo que arde.",
        season_title="Ajustes de la lente del {first} al {last}",
        span="{first} a {last}",
        worst="peor: {share} %",
        season_worst=(
            "Cada día al menos el {share} % de la potencia de la puntería perfecta en cada minuto (peor: {day}, "
            "{time}); se pierde como mucho el {loss} % de la energía de un día."
        ),
        season_marks="Cada fila: ajustar a esta hora, {marks}. Cubra la lente donde la fila lo dice.",
        swivel_long="giro (acimut verdadero)",
        ahead="Los ajustes van adelante del sol a propósito. No los corrija entre tanto.",
        set_at="ajustar",
        good_until="sirve hasta",
        tilt="inclin.",
        swivel="verdadero",
        compass="brújula",
        power="potencia",
        declination="declin.",
        hour_angle="áng. horario",
        facing="La lente se inclina hacia el acimut verdadero {azimuth}°.",
        cover_until="cubra la lente hasta {time}",
        nothing="Sin ajustes este día: deje la cubierta puesta.",
        no_compass="Sin columna de brújula: el modelo magnético no cubre esta fecha.",
        compass_example="Giro: 90° verdaderos se leen {reading}° en la brújula aquí (+-{error}°; cuidado: hierro).",
        order=("cubrir", "llenar", "abrir el agua", "descubrir", "apuntar"),
        night="Tarde: cubrir, apartar, dejar enfriar, cerrar el agua. Nunca llene tubos secos y calientes.",
        page="página {page} de {pages}",
        cautions=(
            (
                "La luz concentrada quema piel y ojos y causa fuego en segundos. Mantenga personas, animales y todo lo "
                "que arde fuera de la luz; agua a mano."
            ),
            "No mire el foco: las gafas oscuras no protegen.",
            "Cubra la lente siempre que nadie la atienda.",
            "El vapor y el vidrio caliente queman. Nunca cierre la salida del vapor.",
            "Los tubos que se secan estallan. Llene solo tubos fríos.",
            "Las cifras vienen de un modelo. Deciden las normas locales y los profesionales autorizados.",
        ),
    ),
    "fr": Words(
        months=(
            "janvier",
            "février",
            "mars",
            "avril",
            "mai",
            "juin",
            "juillet",
            "août",
            "septembre",
            "octobre",
            "novembre",
            "décembre",
        ),
        date="{day} {month} {year}",
        day="{day} {month}",
        title="Réglages de la lentille",
        clock="Heure locale de la montre, UTC{offset}",
        valid="Valable du {first} au {last}",
        valid_one="Valable ce jour seulement",
        useful="Première lumière {first}, dernière {last}",
        shares="Au moins {share} % de la puissance d'une visée parfaite. Réglages : {moves}.",
        valid_share="Chacun de ces jours, au moins {share} %.",
        energy="Réglages : {moves}, pour {energy} % de l'énergie du jour ; au pire il reste {share} % de la puissance.",
        sky_clear="Puissance par ciel clair : nuages et brume la réduisent.",
        sky_constant="Puissance pour {dni} W/m² de soleil direct.",
        sky_file="Puissance d'après le fichier météo.",
        walk_off="Sans surveillance, la ligne atteint ce qui brûle au bout de {minutes} min.",
        walk_off_now="En fin de ligne du tableau, la lumière touche déjà ce qui brûle : ne soyez jamais en retard.",
        walk_off_none="Sans surveillance 2 h, la ligne n'a rien touché de noté qui brûle. Couvrez quand même.",
        walk_off_unknown="Sans surveillance, la ligne peut atteindre en quelques minutes ce qui brûle.",
        season_title="Réglages de la lentille du {first} au {last}",
        span="{first} au {last}",
        worst="au pire : {share} %",
        season_worst=(
            "Chaque jour au moins {share} % de la puissance d'une visée parfaite à chaque minute (au pire le {day}, "
            "{time}) ; on perd au plus {loss} % de l'énergie d'un jour."
        ),
        season_marks="Chaque ligne : régler à cette heure, {marks}. Couvrez la lentille où la ligne le dit.",
        swivel_long="pivot (azimut vrai)",
        ahead="Les réglages devancent le soleil exprès. Ne les corrigez pas entre-temps.",
        set_at="régler à",
        good_until="bon jusqu'à",
        tilt="inclin.",
        swivel="vrai",
        compass="boussole",
        power="puissance",
        declination="déclin.",
        hour_angle="angle hor.",
        facing="La lentille penche vers l'azimut vrai {azimuth}°.",
        cover_until="couvrez la lentille jusqu'à {time}",
        nothing="Aucun réglage ce jour : laissez la couverture.",
        no_compass="Pas de colonne boussole : le modèle magnétique ne couvre pas cette date.",
        compass_example="Pivot : 90° vrais se lisent {reading}° à la boussole ici (+-{error}° ; gare au fer).",
        order=("couvrir", "remplir", "ouvrir l'eau", "découvrir", "viser"),
        night="Soir : couvrir, détourner, laisser refroidir, fermer l'eau. Jamais d'eau dans des tubes secs et chauds.",
        page="page {page} sur {pages}",
        cautions=(
            (
                "La lumière concentrée brûle peau et yeux et allume un feu en quelques secondes. Tenez personnes, "
                "animaux et tout ce qui brûle hors de la lumière ; de l'eau à portée de main."
            ),
            "Ne regardez pas le foyer : les lunettes noires ne protègent pas.",
            "Couvrez la lentille dès que personne ne la surveille.",
            "La vapeur et le verre chaud brûlent. Ne fermez jamais la sortie de la vapeur.",
            "Les tubes à sec éclatent. Ne remplissez que des tubes froids.",
            "Les chiffres viennent d'un modèle. Les règles locales et les professionnels agréés décident.",
        ),
    ),
    "pt": Words(
        months=(
            "janeiro",
            "fevereiro",
            "março",
            "abril",
            "maio",
            "junho",
            "julho",
            "agosto",
            "setembro",
            "outubro",
            "novembro",
            "dezembro",
        ),
        date="{day} de {month} de {year}",
        day="{day} de {month}",
        title="Ajustes da lente",
        clock="Hora local do relógio, UTC{offset}",
        valid="Válido de {first} a {last}",
        valid_one="Válido só neste dia",
        useful="Primeira luz {first}, última luz {last}",
        shares="Pelo menos {share} % da potência da pontaria perfeita. Ajustes: {moves}.",
        valid_share="Em cada um destes dias pelo menos {share} %.",
        energy="Ajustes: {moves}, para {energy} % da energia do dia; no pior momento restam {share} % da potência.",
        sky_clear="Potência com céu limpo: nuvens e névoa reduzem-na.",
        sky_constant="Potência com {dni} W/m² de sol direto.",
        sky_file="Potência segundo o ficheiro meteorológico.",
        walk_off="Sem vigilância, a linha chega a algo que arde ao fim de {minutes} min.",
        walk_off_now="No fim de uma fila da tabela a luz já chega a algo que arde: nunca se atrase com um ajuste.",
        walk_off_none="Sem vigilância 2 h, a linha não tocou nada anotado que arda. Cubra a lente mesmo assim.",
        walk_off_unknown="Sem vigilância, a linha pode chegar em minutos a algo que arde.",
        season_title="Ajustes da lente de {first} a {last}",
        span="{first} a {last}",
        worst="pior: {share} %",
        season_worst=(
            "Em cada dia pelo menos {share} % da potência da pontaria perfeita a cada minuto (pior: {day}, {time}); "
            "perde-se no máximo {loss} % da energia de um dia."
        ),
        season_marks="Cada linha: ajustar a esta hora, {marks}. Cubra a lente onde a linha o diz.",
        swivel_long="giro (azimute verdadeiro)",
        ahead="Os ajustes vão à frente do sol de propósito. Não os corrija entretanto.",
        set_at="ajustar às",
        good_until="serve até",
        tilt="inclin.",
        swivel="verdad.",
        compass="bússola",
        power="potência",
        declination="declin.",
        hour_angle="âng. hor.",
        facing="A lente inclina-se para o azimute verdadeiro {azimuth}°.",
        cover_until="cubra a lente até {time}",
        nothing="Sem ajustes neste dia: deixe a cobertura posta.",
        no_compass="Sem coluna de bússola: o modelo magnético não cobre esta data.",
        compass_example="Giro: 90° verdadeiros leem-se {reading}° na bússola aqui (+-{error}°; cuidado: ferro).",
        order=("cobrir", "encher", "abrir a água", "descobrir", "apontar"),
        night="Noite: cobrir, desviar, deixar esfriar, fechar a água. Nunca encha tubos secos e quentes.",
        page="página {page} de {pages}",
        cautions=(
            (
                "A luz concentrada queima pele e olhos e causa fogo em segundos. Mantenha pessoas, animais e tudo "
                "o que arde fora da luz; água à mão."
            ),
            "Não olhe para o foco: óculos escuros não protegem.",
            "Cubra a lente sempre que ninguém cuide dela.",
            "O vapor e o vidro quente queimam. Nunca feche a saída do vapor.",
            "Tubos que secam estilhaçam. Encha só tubos frios.",
            "Os números vêm de um modelo. Decidem as normas locais e os profissionais licenciados.",
        ),
    ),
}
"""The translations are the project's own and wait for native readers."""
