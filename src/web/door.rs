//! The door that connections come in by.
//!
//! An address longer than 64 kB, or a head that cannot be read, is refused below every handler,
//! with a bare status and no word of why. The door puts a page, or a problem document below
//! `/api`, in the place of such an answer. And it sees everybody off: what a guest still sends
//! once the answer is out is taken and thrown away, so that the answer reaches them.

use std::{
    io,
    net::SocketAddr,
    pin::Pin,
    task::{Context, Poll, ready},
    time::Duration,
};

use axum::serve::Listener;
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::{TcpListener, TcpStream},
    time::{Instant, Sleep, sleep_until},
};

use super::{fault::Fault, router::router, state::App};

/// How much of a request's beginning is kept, to tell a page from a call of the API.
const BEGINNING: usize = 24;

/// How long more is waited for from a guest who was answered and is silent, and how long a talking
/// one is listened to. A connection that is closed on bytes nobody read is reset, and a reset takes
/// the answer away from who has not read it yet.
const SILENCE: Duration = Duration::from_secs(1);
const PATIENCE: Duration = Duration::from_secs(30);

/// Serves until `stopped` is over; what is being answered then is answered.
///
/// # Errors
/// The listener failing.
pub async fn serve(
    listener: TcpListener,
    app: App,
    stopped: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    axum::serve(Door(listener), router(app))
        .with_graceful_shutdown(stopped)
        .await
}

struct Door(TcpListener);

impl Listener for Door {
    type Io = Guest;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Guest, SocketAddr) {
        let (stream, address) = Listener::accept(&mut self.0).await;
        let guest = Guest {
            stream,
            beginning: Vec::new(),
            asks: true,
            words: None,
            patience: None,
        };
        (guest, address)
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.0.local_addr()
    }
}

/// One connection.
struct Guest {
    stream: TcpStream,
    /// How the last request begins.
    beginning: Vec<u8>,
    /// Whether the next bytes read begin a request.
    asks: bool,
    /// What is said in the place of a bare refusal, and how much of it was sent.
    words: Option<(Vec<u8>, usize)>,
    /// Once all was said: until when silence is waited out, and when patience ends.
    patience: Option<(Pin<Box<Sleep>>, Instant)>,
}

impl Guest {
    /// Says that nothing follows, and throws away what is still sent.
    fn poll_see_off(&mut self, cx: &mut Context<'_>) -> Poll<()> {
        if self.patience.is_none() {
            let closed = ready!(Pin::new(&mut self.stream).poll_shutdown(cx));
            if closed.is_err() {
                return Poll::Ready(());
            }
        }
        let (silence, end) = self.patience.get_or_insert_with(|| {
            let now = Instant::now();
            (Box::pin(sleep_until(now + SILENCE)), now + PATIENCE)
        });
        let mut rest = [0; 16 * 1024];
        while silence.as_mut().poll(cx).is_pending() {
            let mut rest = ReadBuf::new(&mut rest);
            match ready!(Pin::new(&mut self.stream).poll_read(cx, &mut rest)) {
                Ok(()) if !rest.filled().is_empty() => {
                    let until = (Instant::now() + SILENCE).min(*end);
                    silence.as_mut().reset(until);
                }
                _ => break,
            }
        }
        Poll::Ready(())
    }
}

impl AsyncRead for Guest {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buf.filled().len();
        ready!(Pin::new(&mut self.stream).poll_read(cx, buf))?;
        let read = &buf.filled()[before..];
        if self.asks && !read.is_empty() {
            self.beginning = read[..read.len().min(BEGINNING)].to_vec();
            self.asks = false;
        }
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Guest {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        self.asks = true;
        if self.words.is_none()
            && let Some(fault) = bare(buf)
        {
            let api = self
                .beginning
                .split(|byte| *byte == b' ')
                .nth(1)
                .is_some_and(|address| address.starts_with(b"/api/"));
            self.words = Some((spoken(&fault, api), 0));
        }
        if let Some((words, mut sent)) = self.words.take() {
            while sent < words.len() {
                match Pin::new(&mut self.stream).poll_write(cx, &words[sent..]) {
                    Poll::Ready(more) => sent += more?,
                    Poll::Pending => {
                        self.words = Some((words, sent));
                        return Poll::Pending;
                    }
                }
            }
            if self.poll_see_off(cx).is_pending() {
                self.words = Some((words, sent));
                return Poll::Pending;
            }
            return Poll::Ready(Ok(buf.len()));
        }
        Pin::new(&mut self.stream).poll_write(cx, buf)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let first = bufs.first().map_or(&[][..], |buf| buf);
        if self.words.is_some() || bare(first).is_some() {
            return self.poll_write(cx, first);
        }
        self.asks = true;
        Pin::new(&mut self.stream).poll_write_vectored(cx, bufs)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.poll_see_off(cx).map(Ok)
    }
}

/// The fault behind an answer that is a status and nothing else; only the reader of heads gives
/// such, since every handler's own is dressed and carries its number.
fn bare(answer: &[u8]) -> Option<Fault> {
    let answer = std::str::from_utf8(answer).ok()?;
    let (status, head) = answer.strip_prefix("HTTP/1.1 ")?.split_once(' ')?;
    let head = head.to_ascii_lowercase();
    if !head.contains("content-length: 0\r\n") || head.contains("x-request-id") {
        return None;
    }
    match status {
        "414" | "431" => Some(Fault::TooLong),
        "400" => Some(Fault::Unreadable(
            "It is not HTTP as a browser sends it.".to_owned(),
        )),
        _ => None,
    }
}

/// A whole answer, after which the connection ends.
fn spoken(fault: &Fault, api: bool) -> Vec<u8> {
    let (kind, body) = fault.told(api, "");
    let status = fault.status();
    format!(
        "HTTP/1.1 {status}\r\ncontent-type: {kind}\r\ncontent-length: {}\r\n\
         x-content-type-options: nosniff\r\nconnection: close\r\n\r\n{body}",
        body.len()
    )
    .into_bytes()
}
