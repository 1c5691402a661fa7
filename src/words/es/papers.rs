//! Words of the form in which the papers of a delivery are typed.

use crate::words::papers::PapersWords;

/// See [`PapersWords`].
pub static WORDS: PapersWords = PapersWords {
    title: "Abrir una entrega",
    about: "Lo que dicen los papeles de una carga, escrito cuando la cisterna ha llegado. Escriba un número, un espacio y una \
            unidad, como están impresos. Los valores de la placa se leen en la placa de esta cisterna y nunca se copian. Lo que \
            queda vacío es una comprobación todavía no cumplida. No se conecta nada antes de las comprobaciones; los reglamentos \
            locales van primero.",
    load: LOAD,
    seldom: "Sólo donde los papeles lo dicen: tramos, densidad, otra línea",
    table: heading,
    field,
    example,
    named: in_the_form,
    said: super::findings::said,
    notes: ["se admite", "lo más parecido", "qué hacer"],
    property: PROPERTY,
    required: "tiene que estar",
    such_as: "por ejemplo",
    yes: "sí",
    no: "no",
    open: "Abrir la entrega",
    faults: "No abierta; nada ha cambiado y nada de lo escrito se pierde. Corrija:",
    warnings: "Todavía no abierta. Mire esto antes; si es así, pulse otra vez:",
    opened: "La entrega está abierta y registrada. Sus comprobaciones están en la página del puesto.",
    too_long: "es demasiado largo: 300 letras como máximo; abrévielo",
    needs_script: "Este formulario envía lo escrito con un programa de esta página, como toda entrada aquí. Sin él, escriba los \
                   papeles en un archivo: brimwatch open SITE --delivery FILE --who NAME",
};

const LOAD: &str = "Carga";
const PROPERTY: &str = "Propiedad";

fn heading(table: &str) -> Option<&'static str> {
    TABLES.iter().find(|(name, _)| *name == table).map(|(_, heading)| *heading)
}

fn field(path: &str) -> Option<(&'static str, &'static str)> {
    FIELDS.iter().find(|(key, ..)| *key == path).map(|(_, label, means)| (*label, *means))
}

/// Examples that have words in them.
pub(super) fn example(path: &str) -> Option<&'static str> {
    EXAMPLES.iter().find(|(key, _)| *key == path).map(|(_, example)| *example)
}

/// What a key means.
pub(super) fn means_of(path: &str) -> Option<&'static str> {
    field(path).map(|(_, means)| means)
}

/// Heading and label of a key; a row of properties has its number.
fn in_the_form(path: &str) -> String {
    const ROWS: &str = "certificate.property.";
    let (row, path) = match path.strip_prefix(ROWS).and_then(|rest| rest.split_once('.')) {
        Some((row, name)) => (format!(" {row}"), format!("{ROWS}{name}")),
        None => (String::new(), path.to_owned()),
    };
    let Some((label, _)) = field(&path) else { return heading(&path).unwrap_or(&path).to_owned() };
    let table = match path.rsplit_once('.') {
        None => LOAD,
        Some((table, _)) => heading(table).unwrap_or(PROPERTY),
    };
    format!("{table}{row}, {label}")
}

/// The same inside a sentence.
pub(super) fn named(path: &str) -> String {
    format!("\u{ab}{}\u{bb}", in_the_form(path))
}

const EXAMPLES: [(&str, &str); 9] = [
    ("product", "sosa cáustica 50 %"),
    ("density.source", "certificado 4711"),
    ("trailer.product_tag", "sosa cáustica 50 %"),
    ("certificate.property.name", "hidróxido de sodio"),
    ("certificate.property.unit", "% en masa"),
    ("shipping.description", "UN1824, Hidróxido de sodio en solución, 8, II"),
    ("carrier.name", "Transportes del Río"),
    ("carrier.driver", "conductor 17"),
    ("seals.unbroken", "sí"),
];

/// Headings of tables.
const TABLES: [(&str, &str); 10] = [
    ("ticket", "Boleta de báscula"),
    ("trailer", "Cisterna"),
    ("plate", "Placa de la cisterna"),
    ("seals", "Precintos"),
    ("certificate", "Certificado de análisis"),
    ("shipping", "Documento de transporte"),
    ("carrier", "Transportista"),
    ("leg", "Tramo"),
    ("density", "Densidad"),
    ("line", "Línea"),
];

/// Label and meaning of each field, by its key; a test holds them against the key table.
const FIELDS: [(&str, &str, &str); 41] = [
    ("id", "Número", "número o nombre de la entrega, el mismo para todos sus tramos"),
    ("tank", "Tanque", "tanque al que va"),
    ("product", "Producto", "producto según los papeles; tiene que ser el que contiene el tanque"),
    ("load_temperature", "Temperatura de la carga", "temperatura de la carga según sus papeles"),
    ("planned", "Previsto", "cuánto se quiere descargar, en este tramo si hay varios"),
    (
        "leg.number",
        "Número",
        "tramo, desde 1, que es lo que vale si queda vacío: un compartimento, o lo que queda de él, a un tanque",
    ),
    (
        "leg.on_board",
        "A bordo",
        "lo que lleva la cisterna antes de este tramo, o su compartimento; si queda vacío, la carga de la boleta, \
      lo que solo puede el primer tramo",
    ),
    ("leg.on_board_u", "A bordo, u", "su incertidumbre típica; junto con lo que lleva a bordo"),
    ("ticket.net", "Neto", "neto, como está impreso"),
    (
        "ticket.u",
        "Neto, u",
        "su incertidumbre típica; si queda vacía, la de bruto menos tara en una báscula de 20 kg, clase III, en servicio",
    ),
    ("ticket.gross", "Bruto", "bruto, como está impreso; con la tara se compara con el neto"),
    ("ticket.tare", "Tara", "tara, como está impresa"),
    ("density.at", "Densidad", "densidad a la temperatura de referencia"),
    ("density.temperature", "Temperatura de referencia", "temperatura a la que vale esa densidad"),
    (
        "density.slope_kg_per_m3_per_c",
        "Cambio, kg/m3 por C",
        "cambio de la densidad con cada C: el que hay entre dos filas de una tabla, \
      nunca positivo",
    ),
    ("density.u", "Densidad, u", "su incertidumbre típica; si queda vacía, la del producto"),
    ("density.source", "Fuente", "qué papel lo dice"),
    ("trailer.volume", "Volumen", "volumen de la cisterna"),
    ("trailer.volume_u", "Volumen, u", "incertidumbre típica de ese volumen"),
    ("trailer.pressure_found", "Presión encontrada", "presión en el manómetro propio de la cisterna al llegar"),
    (
        "trailer.temperature_found",
        "Temperatura encontrada",
        "temperatura en el termómetro propio de la cisterna al llegar",
    ),
    ("trailer.product_tag", "Producto en la etiqueta", "producto según la etiqueta de la salida de la cisterna"),
    (
        "line.upstream",
        "Antes del caudalímetro",
        "volumen entre la cisterna y el caudalímetro; si queda vacío, el del sitio",
    ),
    (
        "line.downstream",
        "Después del caudalímetro",
        "volumen entre el caudalímetro y el tanque; si queda vacío, el del sitio",
    ),
    ("plate.specification", "Especificación", "especificación como está estampada; sin ella: sin poner"),
    ("plate.mawp", "MAWP", "presión máxima de trabajo permitida; sin ella el tope queda sin poner"),
    (
        "plate.relief_from",
        "Alivio desde",
        "presión más baja a la que la válvula de alivio empieza a descargar; sin ella: sin poner",
    ),
    (
        "plate.relief_to",
        "Alivio hasta",
        "presión más alta a la que la válvula de alivio empieza a descargar; sin ella: sin poner",
    ),
    ("seals.expected", "Esperados", "sus números, según los papeles"),
    ("seals.found", "Encontrados", "sus números, como se leen en la cisterna"),
    (
        "seals.unbroken",
        "Intactos",
        "si se encontraron intactos todos los precintos; si queda vacío, una persona lo anota en la página",
    ),
    ("certificate.number", "Número", "su número o nombre"),
    ("certificate.property.name", "Nombre", "nombre de la propiedad"),
    (
        "certificate.property.value",
        "Valor",
        "valor como está impreso; vacío: el certificado no lo tiene, y la comprobación lo dice",
    ),
    ("certificate.property.unit", "Unidad", "unidad del valor y de los límites, como está impresa"),
    (
        "certificate.property.low",
        "Mínimo",
        "valor más bajo que se admite; sin ninguno de los límites: una comprobación todavía no cumplida",
    ),
    ("certificate.property.high", "Máximo", "valor más alto que se admite"),
    ("shipping.description", "Descripción", "descripción de transporte, como está en los papeles"),
    ("shipping.marking_found", "Marca encontrada", "marca de peligro, como se lee en la cisterna"),
    ("carrier.name", "Transportista", "empresa de transporte"),
    ("carrier.driver", "Conductor", "quién conduce, según el pase mostrado en la entrada"),
];
