//! Words of the form in which the papers of a delivery are typed.

use crate::words::papers::PapersWords;

/// See [`PapersWords`].
pub static WORDS: PapersWords = PapersWords {
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
