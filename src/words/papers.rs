//! Words of the form in which the papers of a delivery are typed; labels and ranges are the key table's own.

/// Words that depend on nothing; each field's name says which.
#[derive(Debug)]
pub struct PapersWords {
    /// Title of the page, and of the way to it.
    pub title: &'static str,
    /// What it is for, and what it does not take the place of.
    pub about: &'static str,
    /// Heading of what belongs to no table.
    pub load: &'static str,
    /// Summary of what few papers need.
    pub seldom: &'static str,
    /// One property of the certificate.
    pub property: &'static str,
    /// Beside a field that must be filled in.
    pub required: &'static str,
    /// Before an example.
    pub such_as: &'static str,
    /// Answers to a question.
    pub yes: &'static str,
    /// Answers to a question.
    pub no: &'static str,
    /// The button.
    pub open: &'static str,
    /// What is typed cannot be taken yet.
    pub faults: &'static str,
    /// It can, but should be looked at first.
    pub warnings: &'static str,
    /// It is open and on record.
    pub opened: &'static str,
    /// A value is too long.
    pub too_long: &'static str,
    /// Without scripts.
    pub needs_script: &'static str,
}

/// In Spanish.
pub static SPANISH: PapersWords = PapersWords {
    title: "Abrir una entrega",
    about: "Lo que dicen los papeles de una carga, escrito cuando la cisterna ha llegado. Escriba un número, un espacio y una \
            unidad, como están impresos. Los valores de la placa se leen en la placa de esta cisterna y nunca se copian. Lo que \
            queda vacío es una comprobación todavía no cumplida. No se conecta nada antes de las comprobaciones; los reglamentos \
            locales van primero.",
    load: "Carga",
    seldom: "Sólo donde los papeles lo dicen: tramos, densidad, otra línea",
    property: "Propiedad",
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

/// In English.
pub static ENGLISH: PapersWords = PapersWords {
    title: "Open a delivery",
    about: "What the papers of one load say, typed when the trailer has arrived. Write a number, a space and a unit, as \
            printed. Plate values are read off this trailer's own plate, never copied. What is left empty is a check that \
            is not yet met. Nothing may be connected before the checks are made; local codes come first.",
    load: "Load",
    seldom: "Only where the papers say so: legs, density, another line",
    property: "Property",
    required: "must be there",
    such_as: "such as",
    yes: "yes",
    no: "no",
    open: "Open the delivery",
    faults: "Not opened; nothing was changed and nothing typed is lost. Put right:",
    warnings: "Not opened yet. Look at this first; where it is so, press once more:",
    opened: "The delivery is open and on record. Its checks are on the bay's page.",
    too_long: "is too long: 300 letters at the most; shorten it",
    needs_script: "This form sends what is typed by a script of this page, as every entry here. Without it, write the \
                   papers into a file: brimwatch open SITE --delivery FILE --who NAME",
};
