//! The server: a listening socket, connections that come in through the doors, TLS, and HTTP over each of them.
//!
//! It is put together from the parts of actix-web's own server, so that a connection can be refused before it is read and
//! be watched while it is (`connection`): its ready-made server has neither.

use super::answering;
use super::connection::{Connection, Patience};
use super::descriptors;
use super::doors::{Doors, Place};
use crate::config::Load;
use crate::http::{App, Problem, configure};
use actix_http::error::DispatchError;
use actix_http::{HttpServiceBuilder, KeepAlive};
use actix_server::{GracefulShutdownSignal, Server, ServerBuilder};
use actix_service::{IntoServiceFactory, ServiceFactory, ServiceFactoryExt, fn_service, map_config};
use actix_web::body::MessageBody as _;
use actix_web::dev::{AppConfig, Service};
use rustls::ServerConfig;
use std::future::poll_fn;
use std::io;
use std::net::SocketAddr;
use std::num::NonZeroUsize;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::Poll;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpSocket, TcpStream};
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;

/// How many connections the system holds that nobody has taken in yet.
const BACKLOG: u32 = 1_024;
/// How many more the library may hold than there are places, all its threads together: those that are being refused.
const SPARE: usize = 256;
/// How long a handshake may take.
const HANDSHAKE: Duration = Duration::from_secs(5);
/// How long somebody who is refused may take to read that.
const REFUSING: Duration = Duration::from_millis(500);
/// How many are told that they are refused, at once; more are only closed.
const REFUSED_MAX: usize = 128;
/// After how many seconds somebody who was refused may come again.
const REFUSED_WAIT: u32 = 5;
/// How long the library reads on behind an answer that came before its body was read.
const DISCONNECTING: Duration = Duration::from_secs(1);

/// What every connection is met with.
#[derive(Clone)]
struct Hall {
    doors: Arc<Doors>,
    patience: Patience,
    acceptor: Option<TlsAcceptor>,
    /// What somebody is told for whom there is no place.
    full: Arc<[u8]>,
    refusing: Arc<AtomicUsize>,
}

/// A listening socket on which a server can be run.
///
/// # Errors
/// When the address is taken or is none of this machine.
pub fn listen(at: SocketAddr) -> io::Result<std::net::TcpListener> {
    let socket = if at.is_ipv4() {
        TcpSocket::new_v4()?
    } else {
        TcpSocket::new_v6()?
    };
    socket.set_reuseaddr(true)?;
    socket.bind(at)?;
    socket.listen(BACKLOG)?.into_std()
}

/// A server that answers what comes in on a socket.
///
/// # Errors
/// When it cannot be started.
pub fn server(
    app: &Arc<App>,
    load: &Load,
    socket: std::net::TcpListener,
    tls: Option<ServerConfig>,
) -> io::Result<ServerBuilder> {
    let places = descriptors::connections(load.connections);
    let hall = Hall {
        doors: Doors::new(places, load.connections_per_address, app.settings.proxies.clone()),
        patience: Patience {
            request: Duration::from_secs(load.request_seconds),
            idle: Duration::from_secs(load.idle_seconds),
            stalled: Duration::from_secs(load.stalled_seconds),
        },
        acceptor: tls.map(acceptor),
        full: refusal(&app.settings.address).into(),
        refusing: Arc::default(),
    };
    let threads = std::thread::available_parallelism().map_or(2, NonZeroUsize::get);
    let builder = Server::build()
        .workers(threads)
        .max_concurrent_connections(places.saturating_add(SPARE).div_ceil(threads));
    let ends = builder.graceful_shutdown_signal();
    let app = Arc::clone(app);
    if hall.acceptor.is_some() {
        builder.listen("https", socket, move || {
            let (met, hall) = (hall.clone(), hall.clone());
            let come = fn_service(move |io: TcpStream| encrypted(met.clone(), io));
            come.and_then(http(&app, &hall, &ends))
        })
    } else {
        builder.listen("http", socket, move || {
            let (met, hall) = (hall.clone(), hall.clone());
            let come = fn_service(move |io: TcpStream| plain(met.clone(), io));
            come.and_then(http(&app, &hall, &ends))
        })
    }
}

fn acceptor(mut config: ServerConfig) -> TlsAcceptor {
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    TlsAcceptor::from(Arc::new(config))
}

type Met<T> = (Connection<T>, Option<SocketAddr>);

async fn plain(hall: Hall, io: TcpStream) -> Result<Met<TcpStream>, DispatchError> {
    let peer = peer_of(&io)?;
    match hall.doors.enter(peer.ip()) {
        Ok(taken) => Ok((Connection::new(io, taken, hall.patience), Some(peer))),
        Err(_) => Err(refuse(&hall, io).await),
    }
}

/// Who calls. The end of a long reply is not to wait until its beginning was acknowledged.
fn peer_of(io: &TcpStream) -> io::Result<SocketAddr> {
    io.set_nodelay(true)?;
    io.peer_addr()
}

async fn encrypted(
    hall: Hall,
    io: TcpStream,
) -> Result<Met<tokio_rustls::server::TlsStream<TcpStream>>, DispatchError> {
    let peer = peer_of(&io)?;
    let gone = || DispatchError::Io(io::ErrorKind::ConnectionAborted.into());
    let (Ok(taken), Some(acceptor)) = (hall.doors.enter(peer.ip()), hall.acceptor) else {
        // Nothing can be said before a handshake, and a handshake is what is too much.
        return Err(gone());
    };
    let handshake = unless_told_to_go(taken.place(), acceptor.accept(io));
    let io = timeout(HANDSHAKE, handshake).await.map_err(|_| gone())??;
    Ok((Connection::new(io, taken, hall.patience), Some(peer)))
}

/// Goes on with a handshake unless the doors want its place for somebody else: only behind it does a connection watch for that
/// itself.
async fn unless_told_to_go<T>(
    place: &Place,
    handshake: impl Future<Output = io::Result<T>>,
) -> io::Result<T> {
    let mut handshake = pin!(handshake);
    poll_fn(|context| {
        place.waits(context.waker());
        if place.leaves() {
            return Poll::Ready(Err(io::ErrorKind::ConnectionAborted.into()));
        }
        handshake.as_mut().poll(context)
    })
    .await
}

/// Tells somebody that there is no place. What he had sent is read and thrown away: closing over bytes that nobody read would
/// take the answer back on its way.
async fn refuse(hall: &Hall, mut io: TcpStream) -> DispatchError {
    if hall.refusing.fetch_add(1, Ordering::Relaxed) < REFUSED_MAX {
        let telling = async {
            io.write_all(&hall.full).await?;
            io.shutdown().await?;
            let mut thrown_away = [0_u8; 1_024];
            while io.read(&mut thrown_away).await? > 0 {}
            Ok::<_, io::Error>(())
        };
        // Whoever does not listen is closed all the same.
        let _ = timeout(REFUSING, telling).await;
    }
    hall.refusing.fetch_sub(1, Ordering::Relaxed);
    DispatchError::Io(io::ErrorKind::ConnectionRefused.into())
}

/// The reply to somebody for whom there is no place, as bytes: no request was read, so no library writes it.
fn refusal(address: &str) -> Vec<u8> {
    let problem = Problem::busy("too many connections are open, in all or from your address");
    let body = problem
        .reply(address)
        .into_body()
        .try_into_bytes()
        .unwrap_or_default();
    let head = format!(
        "HTTP/1.1 503 Service Unavailable\r\ncontent-type: application/problem+json\r\ncontent-length: {}\r\n\
         retry-after: {REFUSED_WAIT}\r\ncache-control: no-store\r\nconnection: close\r\n\r\n",
        body.len()
    );
    [head.as_bytes(), &body].concat()
}

/// HTTP over connections that have their place.
fn http<T: AsyncRead + AsyncWrite + Unpin + 'static>(
    app: &Arc<App>,
    hall: &Hall,
    ends: &GracefulShutdownSignal,
) -> impl ServiceFactory<Met<T>, Config = (), Response = (), Error = DispatchError, InitError = ()> + use<T> {
    let (app, ends) = (Arc::clone(app), ends.clone());
    let routes = actix_web::App::new()
        .wrap_fn(|request, app| {
            let place = request.conn_data::<Arc<Place>>().cloned();
            let answering = place.map(|place| answering::begin(&place, request.headers()));
            let reply = app.call(request);
            async move { Ok(answering::while_it_is_sent(reply.await?, answering)) }
        })
        .configure(move |config| configure(config, &app));
    let routes = routes
        .into_factory()
        .map_err(|error: actix_web::Error| error.error_response());
    HttpServiceBuilder::default()
        .graceful_shutdown_signal(move || {
            let ends = ends.clone();
            async move { ends.notified().await }
        })
        .keep_alive(KeepAlive::Timeout(hall.patience.idle))
        // A head is waited for here, not by the library.
        .client_request_timeout(Duration::ZERO)
        .client_disconnect_timeout(DISCONNECTING)
        .on_connect_ext(|io: &Connection<T>, data| {
            data.insert(Arc::clone(io.place()));
        })
        .h1(map_config(routes, |()| AppConfig::default()))
}
