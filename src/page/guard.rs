//! Who may ask: the checks that every request passes before anything is done for it.

use crate::planner::Refusal;

/// A request as it came from the socket: what the checks and the answers need of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Request {
    /// `GET` or `POST`.
    pub method: String,
    /// The path, with no host before it and no query behind it.
    pub path: String,
    /// The one `Host` header; `None` where there is none or more than one.
    pub host: Option<String>,
    /// The `Origin` header.
    pub origin: Option<String>,
    /// The `Sec-Fetch-Site` header.
    pub fetch_site: Option<String>,
    /// The `Content-Type` header.
    pub content_type: Option<String>,
    /// The token's header.
    pub token: Option<String>,
    /// The number of the last event that was received, of who listens to a watched folder.
    pub last_event: Option<String>,
    /// The body.
    pub body: Vec<u8>,
}

impl Request {
    /// Whether it asks for more than the page's own fixed files.
    pub(super) fn is_of_the_folder(&self) -> bool {
        self.path.starts_with("/api/")
    }
}

/// The door: where the page is served, and the secret of those who may use it.
#[derive(Clone)]
pub struct Guard {
    hosts: [String; 2],
    token: String,
}

impl Guard {
    /// The name of the token's header.
    pub const TOKEN_HEADER: &str = "x-subwell-token";

    /// A guard for a page on this port. The token should be drawn by chance, 128 bits at least.
    #[must_use]
    pub fn new(port: u16, token: String) -> Self {
        Self { hosts: [format!("127.0.0.1:{port}"), format!("localhost:{port}")], token }
    }

    /// Lets a request pass, or says why not.
    ///
    /// # Errors
    /// When the Host is not this page's (a name of another site that was pointed to this machine), when Origin or
    /// Sec-Fetch-Site say that another site's page asks, and, for all that touches the folder, without the token.
    pub fn check(&self, request: &Request) -> Result<(), Refusal> {
        self.check_host(request)?;
        if request.is_of_the_folder() {
            self.check_origin(request)?;
            self.check_token(request)?;
            check_kind(request)?;
        }
        Ok(())
    }

    fn check_host(&self, request: &Request) -> Result<(), Refusal> {
        let known = |host: &String| self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host));
        if request.host.as_ref().is_some_and(known) {
            return Ok(());
        }
        let message = "this page answers under its own address only";
        Err(Refusal::new(403, "wrong-host", message, "open the address that `subwell page` printed"))
    }

    fn check_origin(&self, request: &Request) -> Result<(), Refusal> {
        let own = |origin: &String| {
            origin.strip_prefix("http://").is_some_and(|host| self.hosts.iter().any(|own| own == host))
        };
        let from_own_page = request.fetch_site.as_deref().is_none_or(|site| ["same-origin", "none"].contains(&site));
        if request.origin.as_ref().is_none_or(own) && from_own_page {
            return Ok(());
        }
        let message = "another site's page asks, and gets nothing";
        Err(Refusal::new(403, "wrong-origin", message, "open the address that `subwell page` printed"))
    }

    fn check_token(&self, request: &Request) -> Result<(), Refusal> {
        if request.token.as_deref().is_some_and(|token| equal(token.as_bytes(), self.token.as_bytes())) {
            return Ok(());
        }
        let message = "the address lacks its key, or has an old one";
        let hint = "open the whole address that `subwell page` printed, with all that follows the #";
        Err(Refusal::new(401, "no-token", message, hint))
    }
}

/// A form of another site cannot send JSON.
fn check_kind(request: &Request) -> Result<(), Refusal> {
    let is_json = request.content_type.as_deref().is_some_and(|kind| {
        kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
    });
    if request.method != "POST" || is_json {
        return Ok(());
    }
    Err(Refusal::new(415, "not-json", "only JSON is taken here", "send Content-Type: application/json"))
}

/// Whether two secrets are equal, in a time that does not tell how far they are.
fn equal(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differs, (a, b)| differs | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked() -> Request {
        let some = |word: &str| Some(word.to_owned());
        Request {
            method: "POST".into(),
            path: "/api/plan".into(),
            host: some("127.0.0.1:4000"),
            origin: some("http://127.0.0.1:4000"),
            fetch_site: some("same-origin"),
            content_type: some("application/json; charset=utf-8"),
            token: some("secret"),
            last_event: None,
            body: Vec::new(),
        }
    }

    fn code(request: &Request) -> Option<String> {
        Guard::new(4000, "secret".into()).check(request).err().map(|error| error.code)
    }

    #[test]
    fn each_check_refuses_on_its_own() {
        assert_eq!(code(&asked()), None);
        type Spoil = fn(&mut Request);
        let spoilt: [(Spoil, &str); 11] = [
            (|a| a.host = None, "wrong-host"),
            (|a| a.host = Some("evil.example:4000".into()), "wrong-host"),
            (|a| a.host = Some("127.0.0.1:4001".into()), "wrong-host"),
            (|a| a.origin = Some("http://evil.example".into()), "wrong-origin"),
            (|a| a.origin = Some("null".into()), "wrong-origin"),
            (|a| a.origin = Some("https://127.0.0.1:4000".into()), "wrong-origin"),
            (|a| a.fetch_site = Some("cross-site".into()), "wrong-origin"),
            (|a| a.fetch_site = Some("same-site".into()), "wrong-origin"),
            (|a| a.token = None, "no-token"),
            (|a| a.token = Some("secreT".into()), "no-token"),
            (|a| a.content_type = Some("text/plain".into()), "not-json"),
        ];
        for (spoil, word) in spoilt {
            let mut spoilt = asked();
            spoil(&mut spoilt);
            assert_eq!(code(&spoilt).as_deref(), Some(word), "{spoilt:?}");
        }
    }

    #[test]
    fn the_page_itself_needs_no_token_but_the_right_host() {
        let mut page = Request { path: "/".into(), method: "GET".into(), host: asked().host, ..Request::default() };
        assert_eq!(code(&page), None);
        page.host = Some("rebound.example:4000".into());
        assert_eq!(code(&page).as_deref(), Some("wrong-host"));
    }
}
