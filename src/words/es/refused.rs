//! Why an entry is not taken, in Spanish.

use crate::engine::delivery::Refusal;
use crate::engine::steps::NoStep;
use crate::engine::zero::NoZero;
use crate::words::NotTaken;

pub(super) fn spanish(why: NotTaken) -> &'static str {
    match why {
        NotTaken::Refused(refusal) => refused(refusal),
        NotTaken::SameName => {
            "ese tramo de una entrega con ese nombre ya está registrado: dele otro nombre a esta o, si es otro tramo de la \
             misma carga, un número de tramo que no se haya usado"
        }
        NotTaken::NotQualified => {
            "la habilitación de quien inició la sesión ha vencido: esto lo hace alguien que la tenga vigente"
        }
        NotTaken::NotRecorded => "el registro no puede escribir y esto se perdería: repare primero el disco",
        NotTaken::Failed => "brimwatch falló con ella y empieza de nuevo: vea si tuvo efecto",
        NotTaken::Stopped => "el disco no la guardó antes de que parara el programa",
        NotTaken::Ended => "el disco no la guardó antes de que terminara el registro",
    }
}

fn refused(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::DeliveryOpen => "ya hay una entrega abierta: ciérrela primero",
        Refusal::NoDelivery => "no hay ninguna entrega abierta en esta bahía",
        Refusal::AlreadyTransferring => "el trasvase de este tramo ya había empezado",
        Refusal::NotTransferring => "no hay trasvase en curso",
        Refusal::NoSuchAlarm => "esa alarma ya no está abierta",
        Refusal::NeverShelved => {
            "esa alarma no se puede aplazar ni poner fuera de servicio: nada calla el nivel, la presión, la masa que \
             falta, otro producto, una reacción, ni la pérdida de lo que avisa de ellos"
        }
        Refusal::ShelfWithoutEnd => "diga por cuántos minutos se aplaza: ninguna alarma se aplaza sin fin",
        Refusal::ShelfTooLong => "una alarma se aplaza 480 minutos como máximo, un turno",
        Refusal::NotShelved => "esa alarma no está aplazada",
        Refusal::NoZero(NoZero::NothingOff) => "no se sospecha de la báscula: no hay nada que corregir",
        Refusal::NoZero(NoZero::Grows) => "lo que falta va en aumento: ningún cero nuevo lo explica",
        Refusal::NoZero(NoZero::NoOther) => "ningún otro instrumento dice cuánto entró",
        Refusal::Blowing => "la manguera ya se está soplando: anote cuándo terminó",
        Refusal::NotBlowing => "nadie ha anotado que se esté soplando la manguera",
        Refusal::NoStep(why) => step(why),
        Refusal::NoDip => "el archivo del sitio no permite abrir este tanque: hand_dip_u no está puesto",
        Refusal::DipTooLate => {
            "la medición a mano dice dónde estaba el tanque antes de que entrara la carga: el trasvase ya empezó"
        }
        Refusal::DipOffTheTank => "ese nivel queda fuera del tanque: escríbalo desde el cero del que cuenta el medidor",
        Refusal::NotByPerson => "esa comprobación no la anota una persona, o no se pide en esta bahía",
        Refusal::NoReason => "escriba lo que se encontró: una falla o un rechazo sin una palabra no ayuda a nadie",
        Refusal::TooLateToReject => {
            "el trasvase ya empezó y algo puede haberse movido: ciérrelo; se rechaza una carga que no se ha movido"
        }
        Refusal::NotOut => "esa alarma no está fuera de servicio",
        Refusal::AttendanceNotAsked => "el archivo del sitio no pide presencia: `attendance` no está puesto",
        Refusal::NotOnDuty => "la presencia la anota quien está de guardia: tome primero la guardia",
        Refusal::DutyChanged => "otra persona tomó la guardia entretanto: vea quién está de guardia ahora",
        Refusal::OnDutyAlready => "esa persona ya está de guardia",
        Refusal::NotReadBack => "un relevo necesita el nombre de quien llega y el estado de la bahía leído en voz alta",
        Refusal::NoSuchTank => "la entrega nombra un tanque que esta bahía no tiene",
    }
}

fn step(why: NoStep) -> &'static str {
    match why {
        NoStep::Unknown => "esta bahía no tiene ningún paso con ese nombre",
        NoStep::Done => "ese paso ya se firmó o se dejó pasar",
        NoStep::BehindHoldPoint => {
            "no es su turno: un punto de espera anterior no está firmado por todos los que deben"
        }
        NoStep::StepsBefore => {
            "no es su turno: es un punto de espera y hay pasos anteriores abiertos: fírmelos, o déjelos pasar con un motivo"
        }
        NoStep::NotThisSide => "ese paso no pide la firma de esta parte",
        NoStep::SideHasSigned => "esta parte ya lo firmó: falta la firma de la otra",
        NoStep::NoRight => {
            "quien inició sesión no puede: el paso pide a alguien con más derechos, y solo un ingeniero deja pasar sin \
             firma un punto de espera"
        }
        NoStep::NoName => "no se nombra a nadie que firme",
        NoStep::SameHand => "el mismo nombre firmó por la otra parte: hacen falta dos personas",
        NoStep::Forbidden => "lo que se lee ahora lo prohíbe: la página dice qué, junto al paso",
        NoStep::NoProof => "escriba lo que se vio en el lugar: aquí ningún instrumento puede decirlo",
        NoStep::Unseen => "lo que podría prohibirlo no se puede leer: escriba en qué se basó",
        NoStep::NoReason => "escriba por qué queda sin firma",
        NoStep::Rejected => "la entrega fue rechazada: nada de ella sigue",
    }
}
