//! People and firms.

use crate::extension::Extensions;
use crate::text::{PartyId, Text};

words! {
    /// The role of a party in the survey.
    pub PartyRole {
        /// Owns the pipes.
        Owner = "owner",
        /// Commissioned the survey.
        Client = "client",
        /// Carried the survey out.
        Contractor = "contractor",
        /// Operated the camera.
        Operator = "operator",
        /// Reviewed the record.
        Reviewer = "reviewer",
        /// Another role, which `role_text` states.
        Other = "other",
    }
}

table! {
    /// A person or a firm.
    #[doc(alias = "operator")]
    #[doc(alias = "surveyor")]
    pub Party {
        /// Identifies the party.
        id: PartyId,
        /// The name.
        name: Text,
        /// The role of the party in the survey.
        role?: PartyRole,
        /// The role in words, with `other`.
        role_text?: Text,
        /// The firm that a person works for.
        member_of?: PartyId,
        /// The number of a certificate or licence, as its issuer writes it.
        certificate?: Text,
        /// Contact details.
        contact?: Text,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}
