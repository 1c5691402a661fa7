//! What is answered to an entry, at the sign-in and where settings are changed, in Spanish.

use super::Spanish;
use crate::words::{EntryAnswer, Language as _, SettingsWord, SignInWord};

pub(super) fn entry(answer: EntryAnswer<'_>) -> String {
    match answer {
        EntryAnswer::Saved => "Guardado.".into(),
        EntryAnswer::NotTaken(why) => format!("No aceptado: {}", Spanish.refused(why)),
        EntryAnswer::WrongPhase => "No aceptado: no corresponde a lo que hace la bahía ahora.".into(),
        EntryAnswer::SignInEnded => "No aceptado: su sesión terminó. Para seguir, inicie sesión primero, con el enlace \
            \u{ab}Iniciar sesión\u{bb} al pie de la página."
            .into(),
        EntryAnswer::SignIn => {
            "No aceptado: inicie sesión primero, con el enlace \u{ab}Iniciar sesión\u{bb} al pie de la página.".into()
        }
        EntryAnswer::NoRight(who) => {
            format!("No aceptado: {who} puede mirar, no anotar. Inicie sesión como alguien que pueda.")
        }
        EntryAnswer::Busy => "No guardado: esperan demasiadas anotaciones. Intente de nuevo, y anótelo a mano.".into(),
        EntryAnswer::NotKnown => {
            "No se sabe si se guardó: no hubo respuesta a tiempo. Anótelo a mano y mire de nuevo la bahía.".into()
        }
        EntryAnswer::NoWatch => "No guardado: esta bahía no se está vigilando. Anótelo a mano.".into(),
        EntryAnswer::NotUnderstood => "No aceptado: no se pudo leer la petición.".into(),
        EntryAnswer::NotHere => {
            "No aceptado: la presencia se anota en la pantalla propia de la bahía. Un ingeniero hace de una pantalla la \
             propia de la bahía."
                .into()
        }
        EntryAnswer::NotEngineer => "No aceptado: solo puede hacerlo un ingeniero con sesión iniciada.".into(),
        EntryAnswer::Nobody(name) => format!("No aceptado: {name} no es nadie que pueda atender aquí."),
    }
}

/// A role by its word in the people file.
pub(super) fn role(word: &'static str) -> &'static str {
    match word {
        "view" => "mirar",
        "attend" => "atender",
        "engineer" => "ingeniero",
        same => same,
    }
}

pub(super) fn sign_in(word: SignInWord<'_>) -> String {
    match word {
        SignInWord::Title => "Iniciar sesión".into(),
        SignInWord::Name => "Nombre".into(),
        SignInWord::Password => "Contraseña".into(),
        SignInWord::Out => "Cerrar sesión".into(),
        SignInWord::Back => "Volver a las bahías".into(),
        SignInWord::Here(name, role) => format!("Sesión iniciada: {name} (función: {role})."),
        SignInWord::NobodyHere => "Nadie tiene sesión iniciada. Las alarmas se pueden marcar como vistas igualmente.".into(),
        SignInWord::NotUsed => {
            "Este sitio no nombra personas: las anotaciones no piden sesión y se registran como hechas en la pantalla de \
             la bahía."
                .into()
        }
        SignInWord::Wrong => "El nombre o la contraseña no son correctos.".into(),
        SignInWord::Wait(s) => format!(
            "Demasiadas contraseñas equivocadas: intente de nuevo en {s} s. Las alarmas se pueden marcar como vistas \
             igualmente."
        ),
        SignInWord::Busy => "Se está comprobando otro inicio de sesión: intente de nuevo.".into(),
        SignInWord::NoFile => {
            "No se puede leer el archivo de personas; el registro del programa dice por qué. Las alarmas se pueden marcar \
             como vistas igualmente."
                .into()
        }
        SignInWord::NotReached => "Sin respuesta: no se alcanza al servidor.".into(),
    }
}

pub(super) fn settings(word: SettingsWord<'_>) -> String {
    const COLUMNS: [&str; 5] = ["clave", "en vigor", "si se omite", "permitido", "significado"];
    match word {
        SettingsWord::Title => "Ajustes de alarmas".into(),
        SettingsWord::About => {
            "Un cambio lo toma la vigilancia en marcha, sin perder ninguna consulta. Queda en los registros y en la lista de \
             cambios con su nombre y motivo, y se escribe en el archivo del sitio. No sustituye ningún permiso, revisión ni \
             aprobación que pida su sitio; se exigen un corte independiente por nivel alto y una persona calificada presente, \
             se ajuste aquí lo que se ajuste."
                .into()
        }
        SettingsWord::MayNot => "Para cambiarlos, inicie sesión con la función de ingeniero.".into(),
        SettingsWord::NoPeople => {
            "Este sitio no nombra personas, así que aquí no se distingue a nadie: use \u{ab}brimwatch change\u{bb}, o nombre \
             personas en el archivo del sitio."
                .into()
        }
        SettingsWord::Column(column) => COLUMNS.get(column).copied().unwrap_or_default().into(),
        SettingsWord::Reason => "Motivo del cambio".into(),
        SettingsWord::Look => "Mostrar lo que cambiaría".into(),
        SettingsWord::Apply => "Cambiarlo".into(),
        SettingsWord::NotWritten => "(no escrito)".into(),
        SettingsWord::Would => "Esto cambiaría. Todavía no se cambió nada.".into(),
        SettingsWord::Taken => "Tomado por la vigilancia en marcha, registrado y escrito en el archivo del sitio.".into(),
        SettingsWord::TakenUnwritten(why) => format!(
            "Tomado por la vigilancia en marcha y registrado. El archivo del sitio no lo contiene ({why}): un nuevo arranque \
             lo desharía. in-force.toml del almacén es lo que está en vigor; póngalo allí."
        ),
        SettingsWord::NotTaken(why) => format!("No tomado; no se cambió nada. {why}"),
        SettingsWord::NoReason => "No tomado: diga por qué motivo.".into(),
        SettingsWord::Outdated => {
            "No tomado: los ajustes se cambiaron desde que se dibujó esta página. Cárguela de nuevo y mire otra vez.".into()
        }
        SettingsWord::SignIn => "No tomado: inicie sesión primero, con la función de ingeniero.".into(),
        SettingsWord::NoRight(who, role) => {
            format!("No tomado: {who} tiene la función {role}; los ajustes los cambia la función de ingeniero.")
        }
        SettingsWord::Busy => "No tomado: se está haciendo otro cambio. Intente de nuevo.".into(),
        SettingsWord::NotKnown => "No se sabe si se tomó: no hubo respuesta a tiempo. Cargue de nuevo la página y mire.".into(),
        SettingsWord::NotUnderstood => "No tomado: no se pudo leer la petición.".into(),
    }
}
