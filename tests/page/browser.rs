//! A real headless browser, driven over the W3C WebDriver protocol: chromium and its driver as Debian packages them.
//!
//! The protocol is JSON over HTTP (W3C Recommendation WebDriver); a request on a socket of this machine is all it needs.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// How long the driver may take to start, and a page to be ready.
const PATIENCE: Duration = Duration::from_secs(60);

/// A browser with one window.
pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
    _profile: tempfile::TempDir,
}

impl Browser {
    /// Starts a browser of a window size.
    pub fn start([width, height]: [u32; 2]) -> Browser {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is needed: apt-get install chromium chromium-driver");
        let profile = tempfile::tempdir().unwrap();
        let mut browser = Browser { driver, port, session: String::new(), _profile: profile };
        let start = Instant::now();
        while browser.ask("GET", "/status", &Value::Null).is_err() {
            assert!(start.elapsed() < PATIENCE, "chromedriver does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
        let arguments = [
            "--headless".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--no-first-run".to_owned(),
            format!("--user-data-dir={}", browser._profile.path().display()),
            format!("--window-size={width},{height}"),
        ];
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "goog:chromeOptions": {"args": arguments},
            "goog:loggingPrefs": {"browser": "ALL", "performance": "ALL"},
        }}});
        let begun = browser.ask("POST", "/session", &wanted).expect("a session");
        browser.session = format!("/session/{}", begun["sessionId"].as_str().unwrap());
        browser
    }

    /// Opens a file and waits until the page's script has made its map; with scripts off, until it is loaded.
    pub fn open(&self, path: &std::path::Path, scripted: bool) {
        self.command("/url", json!({"url": format!("file://{}", path.display())}));
        let start = Instant::now();
        while scripted && self.run("return document.getElementById('map-canvas')?.dataset.ready ?? ''") != "yes" {
            assert!(start.elapsed() < PATIENCE, "the map is not ready; console: {:?}", self.console());
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Runs a script in the page and gives what it returns.
    pub fn run(&self, script: &str) -> Value {
        self.command("/execute/sync", json!({"script": script, "args": []}))
    }

    /// A command of the browser's own protocol.
    pub fn own(&self, command: &str, parameters: Value) -> Value {
        self.command("/goog/cdp/execute", json!({"cmd": command, "params": parameters}))
    }

    /// A window of another size.
    pub fn resize(&self, width: u32, height: u32) {
        self.own(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false}),
        );
    }

    /// A click at a place of the window, as a mouse makes it.
    pub fn click(&self, x: f64, y: f64) {
        let pointer = json!({"actions": [{"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": [
            {"type": "pointerMove", "x": x.round(), "y": y.round(), "duration": 0, "origin": "viewport"},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]}]});
        self.command("/actions", pointer);
        // The map waits whether a click is a double one.
        std::thread::sleep(Duration::from_millis(600));
    }

    /// Errors that the console told; reading pixels back, as a test does, is warned of.
    pub fn console(&self) -> Vec<String> {
        let log = self.command("/se/log", json!({"type": "browser"}));
        log.as_array()
            .unwrap()
            .iter()
            .filter(|entry| entry["level"] == "SEVERE")
            .map(|entry| entry["message"].to_string())
            .collect()
    }

    /// Addresses that pages of files asked for since the last call; a browser's own first page is none of them.
    pub fn requests(&self) -> Vec<String> {
        let log = self.command("/se/log", json!({"type": "performance"}));
        let messages = log
            .as_array()
            .unwrap()
            .iter()
            .map(|entry| serde_json::from_str::<Value>(entry["message"].as_str().unwrap()).unwrap()["message"].clone());
        let of_file = |message: &Value| message["params"]["documentURL"].as_str().is_some_and(|page| page.starts_with("file://"));
        messages
            .filter(|message| message["method"] == "Network.requestWillBeSent" && of_file(message))
            .map(|message| message["params"]["request"]["url"].as_str().unwrap().to_owned())
            .collect()
    }

    fn command(&self, path: &str, body: Value) -> Value {
        self.ask("POST", &format!("{}{path}", self.session), &body).unwrap_or_else(|error| panic!("{path}: {error}"))
    }

    fn ask(&self, method: &str, path: &str, body: &Value) -> Result<Value, String> {
        let body = if body.is_null() { String::new() } else { body.to_string() };
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).map_err(|error| error.to_string())?;
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
            self.port,
            body.len()
        );
        stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body.as_bytes())).map_err(|error| error.to_string())?;
        let answer = answer(&mut stream)?;
        let value = serde_json::from_str::<Value>(&answer).map_err(|error| format!("{error}: {answer}"))?["value"].clone();
        match value.get("error") {
            Some(error) => Err(format!("{error}: {}", value["message"])),
            None => Ok(value),
        }
    }
}

/// The body of an answer, by its length.
fn answer(stream: &mut TcpStream) -> Result<String, String> {
    let (mut bytes, mut buffer) = (Vec::new(), [0; 65536]);
    loop {
        if let Some(end) = bytes.windows(4).position(|four| four == b"\r\n\r\n") {
            let head = String::from_utf8_lossy(&bytes[..end]).to_lowercase();
            let length = head.lines().find_map(|line| line.strip_prefix("content-length:")?.trim().parse::<usize>().ok());
            if let Some(length) = length.filter(|length| bytes.len() >= end + 4 + length) {
                return Ok(String::from_utf8_lossy(&bytes[end + 4..end + 4 + length]).into_owned());
            }
        }
        match stream.read(&mut buffer) {
            Ok(0) => return Err("the driver closed the connection".to_owned()),
            Ok(read) => bytes.extend_from_slice(&buffer[..read]),
            Err(error) => return Err(error.to_string()),
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let _ = self.ask("DELETE", &self.session.clone(), &Value::Null);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
