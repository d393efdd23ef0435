//! The client: how a command of the command line reaches the daemon.

use super::instance::{self, Endpoint, Lookup};
use super::routes::Problem;
use axum::body::{Body, Bytes, HttpBody};
use hyper::body::Incoming;
use hyper::client::conn::http1;
use hyper::header::{AUTHORIZATION, CONTENT_TYPE, HOST};
use hyper::{Method, Request, Response};
use hyper_util::rt::TokioIo;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::future::poll_fn;
use std::io;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::time::Duration;
use tallywheel_engine::state::status::Status;
use tokio::net::TcpStream;
use tokio::runtime::Runtime;

/// The longest time that an answer may take; the daemon gives up sooner.
const ANSWER_TIME: Duration = Duration::from_secs(10);
/// The largest answer that is read: hundreds of boards and wheels.
const ANSWER_BYTES_MAX: usize = 1 << 20;

/// Why there is no answer, by what the user does next.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// No daemon runs.
    #[error("no daemon runs for {}; start it with `tallywheel run`", config.display())]
    NotRunning {
        /// The configuration folder that the daemon runs for.
        config: PathBuf,
    },
    /// A daemon runs and does not listen.
    #[error(
        "a daemon runs for {} and takes no commands: its rig.toml says `control = false`, or it could not listen and \
         its log says why",
        config.display()
    )]
    NotListening {
        /// The configuration folder that the daemon runs for.
        config: PathBuf,
    },
    /// A daemon was there and has ended.
    #[error(
        "the daemon for {} (process {process}) is gone without saying so; its log may say why; start it again with \
         `tallywheel run`",
        config.display()
    )]
    Gone {
        /// The configuration folder that the daemon runs for.
        config: PathBuf,
        /// The daemon's process id.
        process: u32,
    },
    /// The daemon does not accept the token.
    #[error(
        "what answers at {address} does not know this user's token; end it and start `tallywheel run` again"
    )]
    TokenNotAccepted {
        /// Where it listens.
        address: std::net::SocketAddr,
    },
    /// The daemon does not answer in time.
    #[error("the daemon (process {process}) does not answer; if it stays so, end it and start it again")]
    NoAnswer {
        /// The daemon's process id.
        process: u32,
    },
    /// The daemon does not carry out the command.
    #[error("{detail}; {cure}")]
    Refused {
        /// What is not possible.
        detail: String,
        /// What the user can do.
        cure: String,
    },
    /// The answer is not valid, as that of another version may be.
    #[error("the daemon's answer cannot be understood ({reason}); is it of another version? Start it again")]
    NotUnderstood {
        /// What is wrong with the answer.
        reason: String,
    },
    /// The daemon ended while its stream was read.
    #[error("the daemon has ended")]
    Ended,
    /// The system refused something, such as a thread or writing to the terminal.
    #[error(transparent)]
    System(#[from] io::Error),
}

impl ClientError {
    /// Tells whether there is no daemon to talk to.
    #[must_use]
    pub const fn is_no_daemon(&self) -> bool {
        matches!(self, Self::NotRunning { .. } | Self::NotListening { .. } | Self::Gone { .. })
    }
}

/// A client of one daemon.
#[derive(Debug)]
pub struct Client {
    config: PathBuf,
    endpoint: Endpoint,
    runtime: Runtime,
}

impl Client {
    /// Looks for the daemon that runs for the folder `config`; `runtime` is the folder of locks.
    ///
    /// # Errors
    /// [`ClientError::NotRunning`] and [`ClientError::NotListening`].
    pub fn find(runtime: &Path, config: &Path) -> Result<Self, ClientError> {
        let config = config.to_owned();
        match instance::find(runtime, &config) {
            Lookup::Listening(endpoint) => {
                let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
                Ok(Self { config, endpoint, runtime })
            }
            Lookup::NotListening => Err(ClientError::NotListening { config }),
            Lookup::NotRunning => Err(ClientError::NotRunning { config }),
        }
    }

    /// Sends a GET request to `path` and reads the answer.
    ///
    /// # Errors
    /// [`ClientError`]
    pub fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, ClientError> {
        self.exchange_json(Method::GET, path, Body::empty())
    }

    /// Sends a request with `body` to `path` and reads the answer.
    ///
    /// # Errors
    /// [`ClientError`]
    pub fn send<T: DeserializeOwned>(
        &self,
        method: Method,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, ClientError> {
        let body = serde_json::to_vec(body).map_err(io::Error::from)?;
        self.exchange_json(method, path, Body::from(body))
    }

    /// Calls `each` with every status of the stream until that fails or the daemon ends.
    ///
    /// # Errors
    /// [`ClientError`]; [`ClientError::Ended`] is the usual end.
    pub fn follow(&self, mut each: impl FnMut(Status) -> io::Result<()>) -> Result<(), ClientError> {
        self.runtime.block_on(async {
            let mut answer = self.request(Method::GET, "/v1/stream", Body::empty()).await?.into_body();
            let mut text = Vec::new();
            while let Some(bytes) = next(&mut answer).await {
                text.extend_from_slice(&bytes.map_err(|_| ClientError::Ended)?);
                if text.len() > ANSWER_BYTES_MAX {
                    return Err(ClientError::NotUnderstood { reason: "it is too long".into() });
                }
                while let Some(end) = text.windows(2).position(|two| two == b"\n\n") {
                    let event: Vec<u8> = text.drain(..end + 2).collect();
                    if let Some(data) = data(&event) {
                        each(parsed(data)?)?;
                    }
                }
            }
            Err(ClientError::Ended)
        })
    }

    fn exchange_json<T: DeserializeOwned>(
        &self,
        method: Method,
        path: &str,
        body: Body,
    ) -> Result<T, ClientError> {
        let answer = self.runtime.block_on(async {
            let answer = self.request(method, path, body).await?;
            let text = axum::body::to_bytes(Body::new(answer.into_body()), ANSWER_BYTES_MAX);
            match tokio::time::timeout(ANSWER_TIME, text).await {
                Ok(Ok(text)) => Ok(text),
                Ok(Err(error)) => Err(ClientError::NotUnderstood { reason: error.to_string() }),
                Err(_) => Err(self.no_answer()),
            }
        })?;
        parsed(&answer)
    }

    async fn request(
        &self,
        method: Method,
        path: &str,
        body: Body,
    ) -> Result<Response<Incoming>, ClientError> {
        let answer = tokio::time::timeout(ANSWER_TIME, self.exchange(method, path, body));
        let answer = answer.await.map_err(|_| self.no_answer())??;
        if answer.status().is_success() {
            return Ok(answer);
        }
        if answer.status() == hyper::StatusCode::UNAUTHORIZED {
            return Err(ClientError::TokenNotAccepted { address: self.endpoint.address });
        }
        let status = answer.status();
        let text = axum::body::to_bytes(Body::new(answer.into_body()), ANSWER_BYTES_MAX).await;
        let problem = text.ok().and_then(|text| serde_json::from_slice::<Problem>(&text).ok());
        Err(match problem {
            Some(Problem { detail, cure, .. }) => ClientError::Refused { detail, cure },
            None => ClientError::NotUnderstood { reason: status.to_string() },
        })
    }

    async fn exchange(
        &self,
        method: Method,
        path: &str,
        body: Body,
    ) -> Result<Response<Incoming>, ClientError> {
        let Endpoint { address, token, process } = &self.endpoint;
        let not_understood = |error: hyper::Error| ClientError::NotUnderstood { reason: error.to_string() };
        let stream = TcpStream::connect(address)
            .await
            .map_err(|_| ClientError::Gone { config: self.config.clone(), process: *process })?;
        let (mut sender, connection) =
            http1::handshake(TokioIo::new(stream)).await.map_err(not_understood)?;
        tokio::spawn(connection);
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(HOST, address.to_string())
            .header(AUTHORIZATION, format!("Bearer {}", token.as_str()))
            .header(CONTENT_TYPE, "application/json")
            .body(body)
            .map_err(|error| ClientError::NotUnderstood { reason: error.to_string() })?;
        sender.send_request(request).await.map_err(not_understood)
    }

    fn no_answer(&self) -> ClientError {
        ClientError::NoAnswer { process: self.endpoint.process }
    }
}

async fn next(body: &mut Incoming) -> Option<Result<Bytes, hyper::Error>> {
    loop {
        let frame = poll_fn(|context| Pin::new(&mut *body).poll_frame(context)).await?;
        match frame.map(hyper::body::Frame::into_data) {
            Ok(Ok(data)) => return Some(Ok(data)),
            // Trailers, which nobody sends us.
            Ok(Err(_)) => {}
            Err(error) => return Some(Err(error)),
        }
    }
}

/// The data of a server-sent event, which is one line here.
fn data(event: &[u8]) -> Option<&[u8]> {
    event.split(|byte| *byte == b'\n').find_map(|line| line.strip_prefix(b"data: "))
}

fn parsed<T: DeserializeOwned>(text: &[u8]) -> Result<T, ClientError> {
    serde_json::from_slice(text).map_err(|error| ClientError::NotUnderstood { reason: error.to_string() })
}
