//! The socket: size, time and number of requests are bounded here, before [`Api`] sees one.

use std::convert::Infallible;
use std::io;
use std::pin::pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use http_body_util::channel::Channel;
use http_body_util::{BodyExt, Either, Full, LengthLimitError, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{self, HeaderMap, HeaderName, HeaderValue};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper::{Request as HttpRequest, Response as HttpResponse, StatusCode};
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::TcpStream;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::task::AbortHandle;
use tokio::time::{Instant, sleep, timeout};

use crate::planner::Refusal;

use super::{Api, Guard, Request, Response, Watching};

/// What a client may cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Connections that are served at the same time; others wait until one ends, or until one has kept the program waiting
    /// for a thousandth of the time for a head: it goes when others come.
    pub connections: usize,
    /// Bytes of a body.
    pub body: usize,
    /// Time for a request's head to arrive, and for the next one on the same connection.
    pub head: Duration,
    /// Time for a request's body to arrive.
    pub whole_body: Duration,
    /// Age of a connection, whatever it is doing.
    pub connection: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            connections: 128,
            body: 256 << 10,
            head: Duration::from_secs(10),
            whole_body: Duration::from_secs(10),
            connection: Duration::from_secs(60),
        }
    }
}

impl Limits {
    /// So long may a client keep the program waiting while others have no place: on one machine what is sent is there.
    fn courtesy(&self) -> Duration {
        self.head / 1000
    }
}

/// Bytes of a request's head.
const HEAD_BYTES: usize = 16 << 10;
/// Plans that are worked out at the same time.
const WORKERS: usize = 4;
/// Time that an old connection is given to end its answer.
const GRACE: Duration = Duration::from_secs(5);
/// Events that wait for who reads slowly.
const EVENTS_AHEAD: usize = 8;
/// Silence after which a comment is sent, and the share of a connection's age for which events go over it.
const STILL_HERE: Duration = Duration::from_secs(5);
const EVENTS_SHARE: f64 = 0.8;
/// Pause when the system has no connection to give.
const PAUSE: Duration = Duration::from_millis(50);

/// Headers of every answer. Nothing is loaded from elsewhere, run from within the page (but the planner's own module), framed,
/// kept or passed on.
const SAFETY: [(HeaderName, &str); 7] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; connect-src 'self'; img-src 'self'; \
         worker-src blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::CACHE_CONTROL, "no-store"),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// Serves the page until the process ends.
///
/// # Errors
/// When the socket is not on the loopback address, or the system refuses.
pub fn serve(listener: std::net::TcpListener, api: Arc<Api>, limits: Limits) -> io::Result<Infallible> {
    if !listener.local_addr()?.ip().is_loopback() {
        return Err(io::Error::other("the page is served on the loopback address only"));
    }
    listener.set_nonblocking(true)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().max_blocking_threads(WORKERS).build()?;
    runtime.block_on(async move {
        let listener = tokio::net::TcpListener::from_std(listener)?;
        let places = Arc::new(Semaphore::new(limits.connections));
        let mut guests = Vec::new();
        loop {
            let Ok((stream, _)) = listener.accept().await else {
                sleep(PAUSE).await;
                continue;
            };
            guests.retain(|guest: &Guest| !guest.served.is_finished());
            // Who finds no place waits here, and all others outside.
            let place = place(&places, &mut guests, limits.courtesy()).await;
            // An answer goes out whole and at once; a system that refuses this only answers later.
            let _ = stream.set_nodelay(true);
            let (api, silence) = (Arc::clone(&api), Arc::new(Silence::new()));
            let own = Arc::clone(&silence);
            let served = tokio::spawn(async move {
                connection(stream, api, limits, own).await;
                drop(place);
            });
            guests.push(Guest { silence, served: served.abort_handle() });
        }
    })
}

/// A client that is served.
struct Guest {
    silence: Arc<Silence>,
    served: AbortHandle,
}

/// Since when the program waits for a client: for its head, its body, or until it has read; `None` while it works for it.
struct Silence(Mutex<Option<Instant>>);

impl Silence {
    fn new() -> Self {
        Self(Mutex::new(Some(Instant::now())))
    }

    fn begins(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(Instant::now());
    }

    fn ends(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    fn since(&self) -> Option<Instant> {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A free place. Where there is none, the client that was silent for longest loses its own, if that was longer than
/// courtesy asks for.
async fn place(places: &Arc<Semaphore>, guests: &mut Vec<Guest>, courtesy: Duration) -> OwnedSemaphorePermit {
    loop {
        if let Ok(place) = Arc::clone(places).try_acquire_owned() {
            return place;
        }
        let silent = guests.iter().enumerate().filter_map(|(at, guest)| Some((guest.silence.since()?, at)));
        if let Some((since, at)) = silent.min()
            && since.elapsed() >= courtesy
        {
            guests.swap_remove(at).served.abort();
        }
        if let Ok(Ok(place)) = timeout(courtesy, Arc::clone(places).acquire_owned()).await {
            return place;
        }
    }
}

async fn connection(stream: TcpStream, api: Arc<Api>, limits: Limits, silence: Arc<Silence>) {
    let service = service_fn(move |request| {
        let (api, silence) = (Arc::clone(&api), Arc::clone(&silence));
        async move { Ok::<_, Infallible>(replied(request, api, limits, &silence).await) }
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.head)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), service);
    let mut served = pin!(served);
    // Who reads its answer a byte a minute is cut off too.
    if timeout(limits.connection, served.as_mut()).await.is_err() {
        served.as_mut().graceful_shutdown();
        let _ = timeout(GRACE, served).await;
    }
}

/// An answer's body: whole, or events as they come.
type Body = Either<Full<Bytes>, Channel<Bytes>>;

async fn replied(
    request: HttpRequest<Incoming>,
    api: Arc<Api>,
    limits: Limits,
    silence: &Silence,
) -> HttpResponse<Body> {
    let answer = match asked(request, &api, limits).await {
        Ok(request) => {
            silence.ends();
            match api.events(&request) {
                // It listens for as long as it may.
                Ok(Some(watching)) => return events(watching, &request, limits),
                _ => answered(request, api).await,
            }
        }
        Err(error) => error.into(),
    };
    silence.begins();
    response(answer)
}

async fn answered(request: Request, api: Arc<Api>) -> Response {
    tokio::task::spawn_blocking(move || api.answer(&request)).await.unwrap_or_else(|_| {
        let hint = "ask the same on the command line, which says more";
        Refusal::new(500, "broken", "the program broke off here", hint).into()
    })
}

/// Tells what happens in a watched folder until the connection is old; who listens asks again from the last event on.
fn events(watching: Arc<Watching>, request: &Request, limits: Limits) -> HttpResponse<Body> {
    let mut last = request.last_event.as_ref().and_then(|id| id.parse().ok()).unwrap_or(0_u64);
    let (mut sender, body) = Channel::new(EVENTS_AHEAD);
    tokio::spawn(async move {
        let told = async {
            let mut newest = watching.newest();
            loop {
                for event in watching.after(last) {
                    last = event.id;
                    if sender.send_data(Bytes::from(event.written())).await.is_err() {
                        return;
                    }
                }
                // A comment now and then shows who went away.
                if timeout(STILL_HERE, newest.changed()).await.is_err()
                    && sender.send_data(Bytes::from_static(b": still here\n\n")).await.is_err()
                {
                    return;
                }
            }
        };
        let _ = timeout(limits.connection.mul_f64(EVENTS_SHARE), told).await;
    });
    let mut response = HttpResponse::new(Either::Right(body));
    with_headers(&mut response, "text/event-stream");
    response
}

/// The request with its body, if head and size allow.
async fn asked(request: HttpRequest<Incoming>, api: &Api, limits: Limits) -> Result<Request, Refusal> {
    let (head, body) = request.into_parts();
    if head.uri.authority().is_some() {
        let message = "only paths of this page are answered";
        return Err(Refusal::new(400, "bad-request", message, "open the address that `subwell page` printed"));
    }
    let mut request = Request {
        method: head.method.as_str().to_owned(),
        path: head.uri.path().to_owned(),
        host: only(&head.headers, &header::HOST),
        origin: first(&head.headers, &header::ORIGIN),
        fetch_site: first(&head.headers, &HeaderName::from_static("sec-fetch-site")),
        content_type: first(&head.headers, &header::CONTENT_TYPE),
        token: first(&head.headers, &HeaderName::from_static(Guard::TOKEN_HEADER)),
        last_event: first(&head.headers, &HeaderName::from_static("last-event-id")),
        body: Vec::new(),
    };
    api.check(&request)?;
    let read = timeout(limits.whole_body, Limited::new(body, limits.body).collect())
        .await
        .map_err(|_| Refusal::new(408, "too-slow", "the request did not arrive in time", "ask again"))?;
    let bytes = read.map_err(|error| {
        if error.is::<LengthLimitError>() {
            let message = format!("more than {} bytes are too many for a request", limits.body);
            return Refusal::new(413, "over-limit", message, "ask for less at once");
        }
        Refusal::new(400, "bad-request", "the request broke off", "ask again")
    })?;
    request.body = bytes.to_bytes().to_vec();
    Ok(request)
}

/// The header's text; what is no text is a word that nothing equals.
fn first(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    headers.get(name).map(|value| value.to_str().unwrap_or("\u{fffd}").to_owned())
}

/// The header's text where it stands once.
fn only(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    if headers.get_all(name).iter().count() == 1 { first(headers, name) } else { None }
}

fn response(answered: Response) -> HttpResponse<Body> {
    let mut response = HttpResponse::new(Either::Left(Full::new(Bytes::from(answered.body))));
    *response.status_mut() = StatusCode::from_u16(answered.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    with_headers(&mut response, answered.kind);
    response
}

fn with_headers(response: &mut HttpResponse<Body>, kind: &'static str) {
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    for (name, value) in SAFETY {
        headers.insert(name, HeaderValue::from_static(value));
    }
}
