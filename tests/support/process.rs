//! The program as a process of its own, on a free loopback port, in a temporary folder.

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::{SocketAddr, TcpStream},
    path::Path,
    process::{Child, Command, Output, Stdio},
    time::Duration,
};

/// The binary under test.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_coldtrap");

/// A serving process; killed when dropped.
pub struct Server {
    child: Child,
    pub address: SocketAddr,
}

impl Server {
    /// Starts the program with these arguments and waits until it says where it listens.
    pub fn start(arguments: &[&str]) -> Self {
        let mut child = Command::new(PROGRAM)
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("the program starts");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let first = lines
            .next()
            .expect("a first line before it ends")
            .expect("text");
        let address = first
            .strip_prefix("listening on http://")
            .unwrap_or_else(|| panic!("not where it listens: {first}"))
            .parse()
            .expect("an address");
        // Read on, so that the process never waits for us.
        std::thread::spawn(move || lines.for_each(drop));
        Self { child, address }
    }

    /// Serves the store and index of `folder`.
    pub fn serve(folder: &Path) -> Self {
        Self::start(&[
            "serve",
            "--db",
            &db(folder),
            "--data",
            &folder.display().to_string(),
            "--listen",
            "127.0.0.1:0",
        ])
    }

    /// Ends the process at once, as a power cut would.
    pub fn kill(mut self) {
        self.child.kill().expect("the process can be killed");
        self.child.wait().expect("the process ended");
    }

    /// Sends one request and returns status and body.
    pub fn request(&self, method: &str, path: &str, body: &str) -> (u16, String) {
        let head = format!(
            "{method} {path} HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\n\
             content-length: {}\r\nconnection: close\r\n\r\n{body}",
            self.address,
            body.len()
        );
        self.exchange(&[&head])
    }

    /// Sends a request in parts, as over a slow line, and reads what comes back once all are
    /// sent: the status and the body.
    pub fn exchange(&self, parts: &[&str]) -> (u16, String) {
        let mut stream = TcpStream::connect(self.address).expect("the program listens");
        stream
            .set_read_timeout(Some(Duration::from_secs(20)))
            .expect("a time limit");
        for (place, part) in parts.iter().enumerate() {
            if place > 0 {
                std::thread::sleep(Duration::from_millis(50));
            }
            stream
                .write_all(part.as_bytes())
                .expect("the request is sent");
        }
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).expect("an answer");
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let status = answer
            .split(' ')
            .nth(1)
            .and_then(|status| status.parse().ok())
            .unwrap_or_else(|| panic!("not HTTP: {answer}"));
        let body = answer
            .split_once("\r\n\r\n")
            .map(|(_, body)| body.to_owned())
            .unwrap_or_default();
        (status, body)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The address of the store in a folder.
pub fn db(folder: &Path) -> String {
    format!("sqlite://{}", folder.join("store.db").display())
}

/// Runs the program to its end, with something on its standard input.
pub fn run(arguments: &[&str], input: &[u8]) -> Output {
    let mut child = Command::new(PROGRAM)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut stdin = child.stdin.take().expect("its input");
    let input = input.to_vec();
    let writer = std::thread::spawn(move || {
        // A program that ends early closes the pipe; that is its answer, not our failure.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().expect("the program ends");
    writer.join().expect("the input was written");
    output
}

/// Runs the program on the store and index of `folder`.
pub fn run_on(folder: &Path, verb: &[&str], input: &[u8]) -> Output {
    let db = db(folder);
    let mut arguments = verb.to_vec();
    arguments.extend(["--db", &db]);
    let data = folder.display().to_string();
    if verb[0] != "export" {
        arguments.extend(["--data", &data]);
    }
    run(&arguments, input)
}
