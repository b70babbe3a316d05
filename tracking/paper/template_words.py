"""All words of the full-size templates, in every language that they speak. One table, as that of the printed sheets."""

from collections.abc import Mapping
from dataclasses import dataclass

from tracking.paper.words import WORDS


@dataclass(frozen=True, kw_only=True, slots=True)
class TemplateWords:
    """The strings of one language; braces are filled in. Months, dates, pages and cautions are those of the sheets."""

    months: tuple[str, ...]
    date: str
    page: str
    cautions: tuple[str, ...]
    short_months: tuple[str, ...]
    compass_points: tuple[str, str, str, str]
    ruler: str
    neighbours: str
    no_sheet: str
    assembly: str
    pin_title: str
    pin_aimed: str
    pin_aimed_line: str
    pin_fixed: str
    pin_correct: str
    pin_fix: str
    pin_rings: str
    pin_bands: str
    pin_row: str
    pin_longer: str
    ring: str
    band: str
    millimetres: str
    off_page: str
    open_ring: str
    level_title: str
    level_pin: str
    clock_one: str
    clock_two: str
    clock_add: str
    span: str
    level_use: str
    level_cut: str
    level_missing: str
    true_north: str
    true_south: str
    north_title: str
    north_says: str
    north_how: str
    north_example: str
    sides: tuple[str, str]
    north_no_compass: str
    north_weak: str
    north_tropics: str
    north_columns: tuple[str, ...]
    north_last: str
    north_states: tuple[str, str, str]
    no_shadow: str
    quadrant_title: str
    quadrant_how: str
    quadrant_polar: str
    marks_scene: str
    marks_degrees: str
    marks_bare: str
    tilt_axis: str
    declination_axis: str
    plumb: str
    square_to_axis: str
    dial_title: str
    dial_how: str
    dial_polar: str
    dial_magnetic: str
    swivel_axis: str
    polar_axis: str
    magnetic_north: str
    side_title: str
    side_how: str
    side_lens_across: str
    side_lens_along: str
    lens_height: str
    arm: str
    tubes: str
    tubes_bare: str
    spacing: str


TEMPLATE_WORDS: Mapping[str, TemplateWords] = {
    "en": TemplateWords(
        months=WORDS["en"].months,
        date=WORDS["en"].date,
        page=WORDS["en"].page,
        cautions=WORDS["en"].cautions,
        short_months=("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
        compass_points=("N", "E", "S", "W"),
        ruler='Measure this line: 100 mm. If not, print again at 100 %, without "fit to page".',
        neighbours="Sheet {sheet}. To its right: {right}. Below it: {below}.",
        no_sheet="none",
        assembly=(
            "Small picture, not to scale. Cut the sheet that comes right or below along its frame, lay its edge on "
            "the dotted line of the sheet before it, crosses on crosses, and glue the {overlap} mm strip. Then "
            "measure across sheets."
        ),
        pin_title="Aiming target for a pin of {pin} mm: {place}",
        pin_aimed="Aimed: the tip's shadow is at the centre.",
        pin_aimed_line="Aimed: the tip's shadow is on line {line}.",
        pin_fixed="This lens is fixed: the target shows what the sun's place costs.",
        pin_correct="Shadow off it: lean the lens away from the shadow.",
        pin_fix=(
            "Fix this sheet flat and square to the lens frame, printed side to the sun: A across the grooves, B "
            "along them. The pin stands on the cross, square to the paper, {pin} mm from paper to tip. Its shadow is "
            "soft by {blur} mm: take the middle. Aim from beside the light, never from within it."
        ),
        pin_rings="Rings: where the tip's shadow costs a share of the power of perfect aiming.",
        pin_bands=(
            "Lines beside line {line}: where the tip's shadow costs a share of the power that it has on line {line}, "
            "at the same place along it."
        ),
        pin_row=("The tubes do not tilt with the lens: drawn for the strictest of the tilts from {low}° to {high}°."),
        pin_longer="The lines are narrow here: a longer pin spreads them.",
        ring="{loss} %: A {across}, B {along}",
        band="{loss} %: {low} and {high} beside the centre",
        millimetres="{value} mm",
        off_page="beyond the page",
        open_ring="A line that stops at the edge goes on beyond the page.",
        level_title="Shadow target for the base, {first} to {last}: {place}",
        level_pin="Upright pin on the cross: {pin} mm. Arrow to true north.",
        clock_one="Hours: local clock time, UTC{offset}.",
        clock_two="Bold hours: clock at UTC{offset}. In brackets: UTC{other}, {spans}.",
        clock_add="While the clock is at UTC{other}, {spans}, add {minutes} min.",
        span="{first} to {last}",
        level_use=(
            "Lay the sheet on the level base. Turn the base until the tip's shadow stands at the date and the time "
            "of now: then the arrow points to true north. Curves: the 21st of each month, each with its dots at the "
            "full hours; go by eye between them."
        ),
        level_cut=("Cut at the frame and below {elevation}° of sun: shadows near sunrise and sunset run off the page."),
        level_missing="No curve on this page for {dates}.",
        true_north="true north",
        true_south="true south",
        north_title="True north from the sun: {place}",
        north_says="On {date} at {time} (UTC{offset}) the shadow of a plumb line points to {direction}.",
        north_how=(
            "Hang the line over level ground and mark its shadow at the very second, at two places far apart. Times "
            "are local clock time with the offset from UTC beside them; set your clock by radio or telephone."
        ),
        north_example=(
            "Worked example for this place: the shadow lies at true {true}°; a compass beside it reads {compass}°, "
            "as the needle points {value}° {side} of true north here. To set true 90°, turn to {reading}° on the "
            "compass (+-{error}°; iron nearby adds to it)."
        ),
        sides=("east", "west"),
        north_no_compass=(
            "No compass column: the magnetic model (World Magnetic Model 2025) does not cover these dates."
        ),
        north_weak="The earth's level field is weak here: do not trust a compass.",
        north_tropics=(
            "Within the tropics the noon sun passes on both sides of the zenith: the shadow points north on some "
            "days and south on others, as each row says, and in between it is too short to use."
        ),
        north_columns=("date", "clock", "UTC", "true", "compass", "1 m gives", "in 1 min"),
        north_last=("Last two columns: length of the shadow of a 1 m line, and how far it turns in a minute."),
        north_states=("too short: sun near the zenith", "too long: sun near the horizon", "no sun"),
        no_shadow="On none of these dates does the noon shadow show north: see the table.",
        quadrant_title="Tilt quadrant, radius {radius} mm: {place}",
        quadrant_how=(
            "Fix it to the base, the cross on the tilt axis, the dashed line hanging like a plumb line. A pointer on "
            "the arm shows the tilt on it: at 0 the lens lies flat. Seen from the side where a positive tilt leans "
            "to the right."
        ),
        quadrant_polar=(
            "Fix it to the part that turns about the polar axis, the cross on the declination axis, the dashed line "
            "square to the polar axis. A pointer on the arm shows the declination: positive leans toward the north "
            "celestial pole, here to the right."
        ),
        marks_scene="Marks: those of the scene.",
        marks_degrees="The scene names no marks: a scale of degrees.",
        marks_bare="{count} marks stand too close for figures: a larger radius gives them room.",
        tilt_axis="tilt axis",
        declination_axis="declination axis",
        plumb="plumb line",
        square_to_axis="square to the polar axis",
        dial_title="Swivel dial, radius {radius} mm: {place}",
        dial_how=(
            "Lay it level, its centre on the swivel axis, N to true north. A pointer that turns with the swivel "
            "shows the azimuth to which a positive tilt leans, clockwise from true north."
        ),
        dial_polar=(
            "Fix it square to the polar axis, 0 upmost, seen from the upper end of the axis. A pointer that turns "
            "with the lens shows the hour angle, the afternoon positive. It has no compass scale: the axis points to "
            "the pole."
        ),
        dial_magnetic=(
            "Inner scale: what a compass reads, by the World Magnetic Model 2025 for {date}: the needle points "
            "{value}° {side} of true north (+-{error}°; iron nearby adds to it). It drifts with the years."
        ),
        swivel_axis="swivel axis",
        polar_axis="polar axis",
        magnetic_north="magnetic north",
        side_title="Side view of lens, arms and tubes: {place}",
        side_how=(
            "Seen along the tilt axis, as at setting 0. The arm's shape is a stand-in: what counts is the lens "
            "height, from the tilt axis, which is the middle of the tubes' axes, up to the lens's face toward the "
            "tubes."
        ),
        side_lens_across="lens, {width} mm across the grooves, {thickness} mm thick",
        side_lens_along="lens, {width} mm along the grooves, {thickness} mm thick",
        lens_height="lens height {height} mm",
        arm="arm",
        tubes="tubes: {count}, outside {outer} mm, absorber {absorber} mm (dashed)",
        tubes_bare="tubes: {count}, bare, {outer} mm",
        spacing="axis to axis {spacing} mm",
    ),
    "es": TemplateWords(
        months=WORDS["es"].months,
        date=WORDS["es"].date,
        page=WORDS["es"].page,
        cautions=WORDS["es"].cautions,
        short_months=("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"),
        compass_points=("N", "E", "S", "O"),
        ruler="¿Mide 100 mm? Si no, imprima al 100 %, sin ajustar a la página.",
        neighbours="Hoja {sheet}. A su derecha: {right}. Debajo: {below}.",
        no_sheet="ninguna",
        assembly=(
            "Dibujo pequeño, sin escala. Corte por su marco la hoja que va a la derecha o abajo, ponga su borde en "
            "la línea de puntos de la anterior, cruz sobre cruz, y pegue la franja de {overlap} mm. Después mida "
            "sobre varias hojas."
        ),
        pin_title="Blanco de puntería para un alfiler de {pin} mm: {place}",
        pin_aimed="Apuntada: la sombra de la punta está en el centro.",
        pin_aimed_line="Apuntada: la sombra de la punta está en la línea {line}.",
        pin_fixed="Esta lente es fija: el blanco muestra lo que cuesta el lugar del sol.",
        pin_correct="Sombra fuera: incline la lente al lado opuesto de la sombra.",
        pin_fix=(
            "Fije esta hoja plana y a escuadra con el marco de la lente, con lo impreso hacia el sol: A a través de "
            "los surcos, B a lo largo. El alfiler va en la cruz, perpendicular al papel, {pin} mm del papel a la "
            "punta. Su sombra es borrosa en {blur} mm: tome el medio. Apunte desde al lado de la luz, nunca dentro."
        ),
        pin_rings=("Anillos: donde la sombra de la punta cuesta una parte de la potencia de la puntería perfecta."),
        pin_bands=(
            "Líneas junto a la línea {line}: donde la sombra de la punta cuesta una parte de la potencia que hay en "
            "la línea {line}, en el mismo lugar a lo largo."
        ),
        pin_row=(
            "Los tubos no se inclinan con la lente: dibujado para la más estricta de las inclinaciones de {low}° a "
            "{high}°."
        ),
        pin_longer="Las líneas quedan juntas: un alfiler más largo las separa.",
        ring="{loss} %: A {across}, B {along}",
        band="{loss} %: {low} y {high} junto al centro",
        millimetres="{value} mm",
        off_page="más allá de la página",
        open_ring="Una línea que termina en el borde sigue más allá de la página.",
        level_title="Blanco de sombra para la base, {first} a {last}: {place}",
        level_pin="Alfiler vertical en la cruz: {pin} mm. Flecha al norte verdadero.",
        clock_one="Horas: hora local del reloj, UTC{offset}.",
        clock_two="Horas en negrita: reloj UTC{offset}. Entre paréntesis: UTC{other}, {spans}.",
        clock_add="Mientras el reloj está en UTC{other}, {spans}, sume {minutes} min.",
        span="{first} a {last}",
        level_use=(
            "Ponga la hoja sobre la base nivelada. Gire la base hasta que la sombra de la punta esté en la fecha y "
            "la hora de ahora: la flecha apunta entonces al norte verdadero. Curvas: el día 21 de cada mes, con "
            "puntos en las horas en punto; entre ellas, a ojo."
        ),
        level_cut=(
            "Cortado en el marco y bajo {elevation}° de sol: las sombras cerca del orto y del ocaso salen de la página."
        ),
        level_missing="Sin curva en esta página para {dates}.",
        true_north="norte verdadero",
        true_south="sur verdadero",
        north_title="El norte verdadero por el sol: {place}",
        north_says="El {date} a las {time} (UTC{offset}) la sombra de una plomada apunta al {direction}.",
        north_how=(
            "Cuelgue la plomada sobre suelo nivelado y marque su sombra en ese segundo, en dos lugares alejados. Las "
            "horas son del reloj local, con su diferencia con UTC al lado; ponga su reloj en hora por radio o "
            "teléfono."
        ),
        north_example=(
            "Ejemplo para este lugar: la sombra está a {true}° verdaderos; una brújula al lado marca {compass}°, "
            "pues la aguja apunta {value}° al {side} del norte verdadero aquí. Para 90° verdaderos, gire a "
            "{reading}° de brújula (+-{error}°; el hierro cercano añade)."
        ),
        sides=("este", "oeste"),
        north_no_compass=(
            "Sin columna de brújula: el modelo magnético (World Magnetic Model 2025) no cubre estas fechas."
        ),
        north_weak="El campo horizontal es débil aquí: no se fíe de la brújula.",
        north_tropics=(
            "En los trópicos el sol de mediodía pasa a ambos lados del cenit: la sombra apunta unos días al norte y "
            "otros al sur, como dice cada fila, y entre ellos es demasiado corta."
        ),
        north_columns=("fecha", "hora", "UTC", "verd.", "brújula", "1 m da", "en 1 min"),
        north_last=("Últimas dos columnas: largo de la sombra de una plomada de 1 m, y cuánto gira en un minuto."),
        north_states=("muy corta: sol cerca del cenit", "muy larga: sol en el horizonte", "sin sol"),
        no_shadow="En ninguna de estas fechas la sombra de mediodía muestra el norte: vea la tabla.",
        quadrant_title="Cuadrante de inclinación, radio {radius} mm: {place}",
        quadrant_how=(
            "Fíjelo a la base, la cruz en el eje de inclinación, la línea de trazos a plomo. Un índice en el brazo "
            "muestra la inclinación: en 0 la lente está horizontal. Visto desde el lado en que una inclinación "
            "positiva va a la derecha."
        ),
        quadrant_polar=(
            "Fíjelo a la parte que gira en el eje polar, la cruz en el eje de declinación, la línea de trazos "
            "perpendicular al eje polar. Un índice en el brazo muestra la declinación: positiva hacia el polo norte "
            "celeste, aquí a la derecha."
        ),
        marks_scene="Marcas: las de la escena.",
        marks_degrees="La escena no nombra marcas: una escala de grados.",
        marks_bare="{count} marcas están demasiado juntas para cifras: un radio mayor les da lugar.",
        tilt_axis="eje de inclinación",
        declination_axis="eje de declinación",
        plumb="plomada",
        square_to_axis="perpendicular al eje polar",
        dial_title="Disco de giro, radio {radius} mm: {place}",
        dial_how=(
            "Póngalo a nivel, el centro en el eje de giro, N al norte verdadero. Un índice que gira con el aparato "
            "muestra el acimut al que se inclina una inclinación positiva, en sentido horario desde el norte "
            "verdadero."
        ),
        dial_polar=(
            "Fíjelo perpendicular al eje polar, el 0 arriba, visto desde el extremo alto del eje. Un índice que gira "
            "con la lente muestra el ángulo horario, positivo por la tarde. No lleva escala de brújula: el eje "
            "apunta al polo."
        ),
        dial_magnetic=(
            "Escala interior: lo que marca la brújula, por el World Magnetic Model 2025 para {date}: la aguja apunta "
            "{value}° al {side} del norte verdadero (+-{error}°; el hierro cercano añade). Cambia con los años."
        ),
        swivel_axis="eje de giro",
        polar_axis="eje polar",
        magnetic_north="norte magnético",
        side_title="Vista lateral de lente, brazos y tubos: {place}",
        side_how=(
            "Vista a lo largo del eje de inclinación, como en el ajuste 0. La forma del brazo es un ejemplo: cuenta "
            "la altura de la lente, desde el eje de inclinación, que es el medio de los ejes de los tubos, hasta la "
            "cara de la lente hacia los tubos."
        ),
        side_lens_across="lente, {width} mm a través de los surcos, {thickness} mm de grueso",
        side_lens_along="lente, {width} mm a lo largo de los surcos, {thickness} mm de grueso",
        lens_height="altura de la lente {height} mm",
        arm="brazo",
        tubes="tubos: {count}, exterior {outer} mm, absorbedor {absorber} mm (trazos)",
        tubes_bare="tubos: {count}, desnudos, {outer} mm",
        spacing="de eje a eje {spacing} mm",
    ),
    "fr": TemplateWords(
        months=WORDS["fr"].months,
        date=WORDS["fr"].date,
        page=WORDS["fr"].page,
        cautions=WORDS["fr"].cautions,
        short_months=(
            "janv",
            "févr",
            "mars",
            "avr",
            "mai",
            "juin",
            "juil",
            "août",
            "sept",
            "oct",
            "nov",
            "déc",
        ),
        compass_points=("N", "E", "S", "O"),
        ruler="Ce trait mesure 100 mm ? Sinon, imprimez à 100 %, sans ajustement.",
        neighbours="Feuille {sheet}. À sa droite : {right}. En dessous : {below}.",
        no_sheet="aucune",
        assembly=(
            "Petit dessin, pas à l'échelle. Coupez le long du cadre la feuille de droite ou du dessous, posez son "
            "bord sur la ligne pointillée de la précédente, croix sur croix, et collez la bande de {overlap} mm. "
            "Mesurez ensuite sur plusieurs feuilles."
        ),
        pin_title="Cible de visée pour une tige de {pin} mm : {place}",
        pin_aimed="Visée : l'ombre de la pointe est au centre.",
        pin_aimed_line="Visée : l'ombre de la pointe est sur la ligne {line}.",
        pin_fixed="Cette lentille est fixe : la cible montre ce que coûte la place du soleil.",
        pin_correct="Ombre à côté : penchez la lentille à l'opposé de l'ombre.",
        pin_fix=(
            "Fixez cette feuille à plat, d'équerre avec le cadre de la lentille, l'impression vers le soleil : A en "
            "travers des rainures, B le long. La tige est sur la croix, d'équerre avec le papier, {pin} mm du papier "
            "à la pointe. Son ombre est floue de {blur} mm : prenez le milieu. Visez à côté de la lumière, jamais "
            "dedans."
        ),
        pin_rings=("Anneaux : où l'ombre de la pointe coûte une part de la puissance d'une visée parfaite."),
        pin_bands=(
            "Traits à côté de la ligne {line} : où l'ombre de la pointe coûte une part de la puissance qu'elle a sur "
            "la ligne {line}, au même endroit le long d'elle."
        ),
        pin_row=(
            "Les tubes ne s'inclinent pas avec la lentille : tracé pour la plus stricte des inclinaisons de {low}° à "
            "{high}°."
        ),
        pin_longer="Les lignes sont serrées ici : une tige plus longue les écarte.",
        ring="{loss} % : A {across}, B {along}",
        band="{loss} % : {low} et {high} à côté du centre",
        millimetres="{value} mm",
        off_page="au-delà de la page",
        open_ring="Une ligne qui s'arrête au bord continue au-delà de la page.",
        level_title="Cible d'ombre pour la base, {first} à {last} : {place}",
        level_pin="Tige verticale sur la croix : {pin} mm. Flèche au nord vrai.",
        clock_one="Heures : heure locale, UTC{offset}.",
        clock_two="Heures en gras : horloge UTC{offset}. Entre parenthèses : UTC{other}, {spans}.",
        clock_add="Quand l'horloge est à UTC{other}, {spans}, ajoutez {minutes} min.",
        span="{first} au {last}",
        level_use=(
            "Posez la feuille sur la base de niveau. Tournez la base jusqu'à ce que l'ombre de la pointe soit à la "
            "date et à l'heure du moment : la flèche montre alors le nord vrai. Courbes : le 21 de chaque mois, avec "
            "des points aux heures pleines ; entre elles, à vue."
        ),
        level_cut=(
            "Coupé au cadre et sous {elevation}° de soleil : les ombres proches du lever et du coucher sortent de la "
            "page."
        ),
        level_missing="Pas de courbe sur cette page pour {dates}.",
        true_north="nord vrai",
        true_south="sud vrai",
        north_title="Le nord vrai par le soleil : {place}",
        north_says="Le {date} à {time} (UTC{offset}) l'ombre d'un fil à plomb montre le {direction}.",
        north_how=(
            "Suspendez le fil au-dessus d'un sol de niveau et marquez son ombre à la seconde dite, en deux points "
            "éloignés. Les heures sont celles de l'horloge locale, l'écart avec UTC à côté ; réglez votre montre par "
            "la radio ou le téléphone."
        ),
        north_example=(
            "Exemple pour ce lieu : l'ombre est à {true}° vrais ; une boussole à côté lit {compass}°, car l'aiguille "
            "montre {value}° à l'{side} du nord vrai ici. Pour 90° vrais, tournez à {reading}° de boussole "
            "(+-{error}° ; le fer proche en ajoute)."
        ),
        sides=("est", "ouest"),
        north_no_compass=(
            "Pas de colonne de boussole : le modèle magnétique (World Magnetic Model 2025) ne couvre pas ces dates."
        ),
        north_weak="Le champ horizontal est faible ici : ne vous fiez pas à la boussole.",
        north_tropics=(
            "Sous les tropiques le soleil de midi passe des deux côtés du zénith : l'ombre montre le nord certains "
            "jours et le sud d'autres, comme le dit chaque ligne ; entre les deux elle est trop courte."
        ),
        north_columns=("date", "heure", "UTC", "vrai", "boussole", "1 m donne", "en 1 min"),
        north_last=(
            "Deux dernières colonnes : longueur de l'ombre d'un fil de 1 m, et de combien elle tourne en une minute."
        ),
        north_states=("trop courte : soleil au zénith", "trop longue : soleil à l'horizon", "pas de soleil"),
        no_shadow="À aucune de ces dates l'ombre de midi ne montre le nord : voyez le tableau.",
        quadrant_title="Quadrant d'inclinaison, rayon {radius} mm : {place}",
        quadrant_how=(
            "Fixez-le à la base, la croix sur l'axe d'inclinaison, la ligne tiretée d'aplomb. Un index sur le bras y "
            "montre l'inclinaison : à 0 la lentille est à plat. Vu du côté où une inclinaison positive penche à "
            "droite."
        ),
        quadrant_polar=(
            "Fixez-le à la partie qui tourne sur l'axe polaire, la croix sur l'axe de déclinaison, la ligne tiretée "
            "d'équerre avec l'axe polaire. Un index sur le bras montre la déclinaison : positive vers le pôle nord "
            "céleste, ici à droite."
        ),
        marks_scene="Repères : ceux de la scène.",
        marks_degrees="La scène ne nomme pas de repères : une échelle en degrés.",
        marks_bare=("{count} repères sont trop serrés pour des chiffres : un rayon plus grand leur fait place."),
        tilt_axis="axe d'inclinaison",
        declination_axis="axe de déclinaison",
        plumb="fil à plomb",
        square_to_axis="d'équerre avec l'axe polaire",
        dial_title="Cadran de rotation, rayon {radius} mm : {place}",
        dial_how=(
            "Posez-le de niveau, le centre sur l'axe de rotation, N au nord vrai. Un index qui tourne avec "
            "l'appareil montre l'azimut vers lequel penche une inclinaison positive, dans le sens horaire depuis le "
            "nord vrai."
        ),
        dial_polar=(
            "Fixez-le d'équerre avec l'axe polaire, 0 en haut, vu du bout haut de l'axe. Un index qui tourne avec la "
            "lentille montre l'angle horaire, positif l'après-midi. Sans échelle de boussole : l'axe montre le pôle."
        ),
        dial_magnetic=(
            "Échelle intérieure : ce que lit une boussole, par le World Magnetic Model 2025 pour le {date} : "
            "l'aiguille montre {value}° à l'{side} du nord vrai (+-{error}° ; le fer proche en ajoute). Elle dérive "
            "avec les années."
        ),
        swivel_axis="axe de rotation",
        polar_axis="axe polaire",
        magnetic_north="nord magnétique",
        side_title="Vue de côté de la lentille, des bras et des tubes : {place}",
        side_how=(
            "Vue le long de l'axe d'inclinaison, comme au réglage 0. La forme du bras est un exemple : ce qui compte "
            "est la hauteur de la lentille, de l'axe d'inclinaison, milieu des axes des tubes, à la face de la "
            "lentille vers les tubes."
        ),
        side_lens_across="lentille, {width} mm en travers des rainures, épaisseur {thickness} mm",
        side_lens_along="lentille, {width} mm le long des rainures, épaisseur {thickness} mm",
        lens_height="hauteur de la lentille {height} mm",
        arm="bras",
        tubes="tubes : {count}, extérieur {outer} mm, absorbeur {absorber} mm (tirets)",
        tubes_bare="tubes : {count}, nus, {outer} mm",
        spacing="d'axe en axe {spacing} mm",
    ),
    "pt": TemplateWords(
        months=WORDS["pt"].months,
        date=WORDS["pt"].date,
        page=WORDS["pt"].page,
        cautions=WORDS["pt"].cautions,
        short_months=("jan", "fev", "mar", "abr", "mai", "jun", "jul", "ago", "set", "out", "nov", "dez"),
        compass_points=("N", "L", "S", "O"),
        ruler="Mede 100 mm? Se não, imprima a 100 %, sem ajustar à página.",
        neighbours="Folha {sheet}. À direita: {right}. Abaixo: {below}.",
        no_sheet="nenhuma",
        assembly=(
            "Desenho pequeno, sem escala. Corte pela moldura a folha da direita ou de baixo, ponha a borda na linha "
            "pontilhada da anterior, cruz sobre cruz, e cole a faixa de {overlap} mm. Depois meça sobre várias "
            "folhas."
        ),
        pin_title="Alvo de mira para um pino de {pin} mm: {place}",
        pin_aimed="Apontada: a sombra da ponta está no centro.",
        pin_aimed_line="Apontada: a sombra da ponta está na linha {line}.",
        pin_fixed="Esta lente é fixa: o alvo mostra o que custa a posição do sol.",
        pin_correct="Sombra fora: incline a lente para o lado oposto à sombra.",
        pin_fix=(
            "Fixe esta folha plana e em esquadro com a moldura da lente, o impresso para o sol: A através das "
            "ranhuras, B ao longo. O pino fica na cruz, em esquadro com o papel, {pin} mm do papel à ponta. A sombra "
            "é difusa em {blur} mm: tome o meio. Aponte ao lado da luz, nunca dentro dela."
        ),
        pin_rings="Anéis: onde a sombra da ponta custa uma parte da potência da mira perfeita.",
        pin_bands=(
            "Linhas ao lado da linha {line}: onde a sombra da ponta custa uma parte da potência que há na linha "
            "{line}, no mesmo lugar ao longo dela."
        ),
        pin_row=(
            "Os tubos não se inclinam com a lente: desenhado para a mais rigorosa das inclinações de {low}° a {high}°."
        ),
        pin_longer="As linhas ficam juntas: um pino mais longo as separa.",
        ring="{loss} %: A {across}, B {along}",
        band="{loss} %: {low} e {high} ao lado do centro",
        millimetres="{value} mm",
        off_page="além da página",
        open_ring="Uma linha que para na borda continua além da página.",
        level_title="Alvo de sombra para a base, {first} a {last}: {place}",
        level_pin="Pino vertical na cruz: {pin} mm. Seta para o norte verdadeiro.",
        clock_one="Horas: hora local do relógio, UTC{offset}.",
        clock_two="Horas em negrito: relógio UTC{offset}. Entre parênteses: UTC{other}, {spans}.",
        clock_add="Enquanto o relógio está em UTC{other}, {spans}, some {minutes} min.",
        span="{first} a {last}",
        level_use=(
            "Ponha a folha na base nivelada. Gire a base até a sombra da ponta estar na data e na hora de agora: a "
            "seta aponta então ao norte verdadeiro. Curvas: o dia 21 de cada mês, com pontos nas horas cheias; entre "
            "elas, a olho."
        ),
        level_cut=(
            "Cortado na moldura e abaixo de {elevation}° de sol: as sombras perto do nascer e do pôr do sol saem da "
            "página."
        ),
        level_missing="Sem curva nesta página para {dates}.",
        true_north="norte verdadeiro",
        true_south="sul verdadeiro",
        north_title="O norte verdadeiro pelo sol: {place}",
        north_says="Em {date} às {time} (UTC{offset}) a sombra de um fio de prumo aponta ao {direction}.",
        north_how=(
            "Pendure o fio sobre chão nivelado e marque a sombra nesse segundo, em dois pontos afastados. As horas "
            "são do relógio local, com a diferença para UTC ao lado; acerte o relógio por rádio ou telefone."
        ),
        north_example=(
            "Exemplo para este lugar: a sombra está a {true}° verdadeiros; uma bússola ao lado marca {compass}°, "
            "pois a agulha aponta {value}° a {side} do norte verdadeiro aqui. Para 90° verdadeiros, gire a "
            "{reading}° da bússola (+-{error}°; ferro perto acrescenta)."
        ),
        sides=("leste", "oeste"),
        north_no_compass=(
            "Sem coluna de bússola: o modelo magnético (World Magnetic Model 2025) não cobre estas datas."
        ),
        north_weak="O campo horizontal é fraco aqui: não confie na bússola.",
        north_tropics=(
            "Nos trópicos o sol do meio-dia passa dos dois lados do zênite: a sombra aponta ao norte em alguns dias "
            "e ao sul em outros, como diz cada linha, e entre eles é curta demais."
        ),
        north_columns=("data", "hora", "UTC", "verd.", "bússola", "1 m dá", "em 1 min"),
        north_last=("Duas últimas colunas: comprimento da sombra de um fio de 1 m, e quanto ela gira em um minuto."),
        north_states=("curta demais: sol no zênite", "longa demais: sol no horizonte", "sem sol"),
        no_shadow="Em nenhuma destas datas a sombra do meio-dia mostra o norte: veja a tabela.",
        quadrant_title="Quadrante de inclinação, raio {radius} mm: {place}",
        quadrant_how=(
            "Fixe-o à base, a cruz no eixo de inclinação, a linha tracejada a prumo. Um índice no braço mostra a "
            "inclinação: em 0 a lente fica horizontal. Visto do lado em que uma inclinação positiva vai para a "
            "direita."
        ),
        quadrant_polar=(
            "Fixe-o à parte que gira no eixo polar, a cruz no eixo de declinação, a linha tracejada em esquadro com "
            "o eixo polar. Um índice no braço mostra a declinação: positiva para o polo norte celeste, aqui à "
            "direita."
        ),
        marks_scene="Marcas: as da cena.",
        marks_degrees="A cena não nomeia marcas: uma escala de graus.",
        marks_bare="{count} marcas estão juntas demais para números: um raio maior lhes dá lugar.",
        tilt_axis="eixo de inclinação",
        declination_axis="eixo de declinação",
        plumb="prumo",
        square_to_axis="em esquadro com o eixo polar",
        dial_title="Disco de giro, raio {radius} mm: {place}",
        dial_how=(
            "Ponha-o em nível, o centro no eixo de giro, N para o norte verdadeiro. Um índice que gira com o "
            "aparelho mostra o azimute para o qual vai uma inclinação positiva, no sentido horário a partir do norte "
            "verdadeiro."
        ),
        dial_polar=(
            "Fixe-o em esquadro com o eixo polar, 0 em cima, visto da ponta alta do eixo. Um índice que gira com a "
            "lente mostra o ângulo horário, positivo à tarde. Não tem escala de bússola: o eixo aponta ao polo."
        ),
        dial_magnetic=(
            "Escala interior: o que marca a bússola, pelo World Magnetic Model 2025 para {date}: a agulha aponta "
            "{value}° a {side} do norte verdadeiro (+-{error}°; ferro perto acrescenta). Muda com os anos."
        ),
        swivel_axis="eixo de giro",
        polar_axis="eixo polar",
        magnetic_north="norte magnético",
        side_title="Vista lateral de lente, braços e tubos: {place}",
        side_how=(
            "Vista ao longo do eixo de inclinação, como no ajuste 0. A forma do braço é um exemplo: conta a altura "
            "da lente, do eixo de inclinação, que é o meio dos eixos dos tubos, até a face da lente voltada aos "
            "tubos."
        ),
        side_lens_across="lente, {width} mm através das ranhuras, {thickness} mm de espessura",
        side_lens_along="lente, {width} mm ao longo das ranhuras, {thickness} mm de espessura",
        lens_height="altura da lente {height} mm",
        arm="braço",
        tubes="tubos: {count}, exterior {outer} mm, absorvedor {absorber} mm (tracejado)",
        tubes_bare="tubos: {count}, nus, {outer} mm",
        spacing="de eixo a eixo {spacing} mm",
    ),
}
"""The translations are the project's own and wait for native readers."""
