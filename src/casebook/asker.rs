//! Who is asking. Every read of an incident takes one, so that sites can be kept from
//! seeing each other's names without touching the callers again.

use super::SiteCode;

/// Which sites' names and records an asker may see in full.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SiteScope {
    /// Every site.
    All,
    /// One site only.
    Only(SiteCode),
}

/// The person or program a read is made for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asker {
    /// The name written under what they file, if they are known.
    pub name: Option<String>,
    /// What they may see.
    pub scope: SiteScope,
}

impl Asker {
    /// The person at this machine: the server binds loopback only, so whoever reaches
    /// it already sits at its console.
    pub fn console() -> Self {
        Self {
            name: None,
            scope: SiteScope::All,
        }
    }

    /// The one site whose records they may see, if it is only one.
    pub fn only_site(&self) -> Option<&str> {
        match &self.scope {
            SiteScope::All => None,
            SiteScope::Only(own) => Some(own.as_str()),
        }
    }

    /// Whether records of a site may be shown.
    pub fn sees(&self, site: &SiteCode) -> bool {
        match &self.scope {
            SiteScope::All => true,
            SiteScope::Only(own) => own == site,
        }
    }
}
