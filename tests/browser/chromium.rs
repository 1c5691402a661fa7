//! One headless Chromium by its own debugging protocol (Chrome DevTools Protocol, stable domains Page, Runtime,
//! Emulation, Target, Log). Blocking; every wait ends.

use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tungstenite::{Message, WebSocket};

/// Longest wait for anything.
const PATIENCE: Duration = Duration::from_secs(10);

/// A browser with one page. Stops when dropped.
pub struct Browser {
    child: Child,
    _profile: tempfile::TempDir,
    socket: WebSocket<TcpStream>,
    session: Option<String>,
    last_id: u64,
    problems: Vec<String>,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Browser {
    /// Starts Debian's chromium with a profile of its own.
    pub fn start() -> Browser {
        Browser::with(&[])
    }

    /// The same with further arguments.
    pub fn with(more: &[&str]) -> Browser {
        let profile = tempfile::tempdir().expect("a folder for the browser's profile");
        let mut child = Command::new("chromium")
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"])
            .args(["--disable-background-networking", "--disable-component-update", "--disable-sync"])
            .args(["--remote-debugging-port=0", "--remote-debugging-address=127.0.0.1", "about:blank"])
            .args(more)
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("chromium must be installed (apt-get install chromium)");
        let stderr = BufReader::new(child.stderr.take().expect("its stderr is piped"));
        let mut lines = stderr.lines().map_while(Result::ok);
        let address = lines.find_map(|line| line.strip_prefix("DevTools listening on ").map(str::to_owned));
        let address = address.expect("chromium says where it listens");
        // What else it says must be read, or it stops at a full pipe.
        std::thread::spawn(move || lines.for_each(drop));
        let host = address.trim_start_matches("ws://").split('/').next().unwrap_or_default();
        let stream = TcpStream::connect(host).expect("chromium's own port");
        stream.set_read_timeout(Some(PATIENCE)).expect("a time-out");
        let (socket, _) = tungstenite::client(&address, stream).expect("chromium speaks WebSocket");
        let mut browser = Browser { child, _profile: profile, socket, session: None, last_id: 0, problems: Vec::new() };
        let target = browser.call("Target.createTarget", json!({"url": "about:blank"}));
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        let session = browser.call("Target.attachToTarget", attach);
        browser.session = session["sessionId"].as_str().map(str::to_owned);
        for domain in ["Page.enable", "Runtime.enable", "Log.enable"] {
            browser.call(domain, json!({}));
        }
        browser
    }

    /// One call and its answer. What the page complains of meanwhile is kept.
    pub fn call(&mut self, method: &str, params: Value) -> Value {
        self.ask(method, params).unwrap_or_else(|error| panic!("{method}: {error}"))
    }

    /// One call and its answer, or why there is none.
    fn ask(&mut self, method: &str, params: Value) -> Result<Value, Value> {
        self.last_id += 1;
        let id = self.last_id;
        let mut request = json!({"id": id, "method": method, "params": params});
        if let Some(session) = &self.session {
            request["sessionId"] = json!(session);
        }
        self.socket.send(Message::text(request.to_string())).expect("chromium listens");
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            let Message::Text(text) = self.socket.read().expect("chromium answers in time") else { continue };
            let mut answer: Value = serde_json::from_str(&text).expect("chromium speaks JSON");
            if answer["id"] == id {
                return match answer.get_mut("error") {
                    Some(error) => Err(error.take()),
                    None => Ok(answer["result"].take()),
                };
            }
            self.note(&answer);
        }
        panic!("{method}: no answer");
    }

    fn note(&mut self, event: &Value) {
        let params = &event["params"];
        let complaint = match event["method"].as_str() {
            Some("Runtime.exceptionThrown") => true,
            Some("Runtime.consoleAPICalled") => params["type"] == "error",
            Some("Log.entryAdded") => params["entry"]["level"] == "error",
            _ => false,
        };
        if complaint {
            self.problems.push(params.to_string());
        }
    }

    /// What the page complained of so far, and forgets it.
    pub fn problems(&mut self) -> Vec<String> {
        self.call("Runtime.evaluate", json!({"expression": "0"}));
        std::mem::take(&mut self.problems)
    }

    /// Sets the screen, in CSS pixels.
    pub fn screen(&mut self, width: u32, height: u32, scale: u32, dark: bool) {
        let metrics = json!({"width": width, "height": height, "deviceScaleFactor": scale, "mobile": width < 700});
        self.call("Emulation.setDeviceMetricsOverride", metrics);
        let scheme = if dark { "dark" } else { "light" };
        let media = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
        self.call("Emulation.setEmulatedMedia", media);
    }

    /// Opens a page and waits until its own script has shown a frame.
    pub fn open(&mut self, url: &str) {
        self.call("Page.navigate", json!({"url": url}));
        self.wait("document.body?.dataset.ready === 'yes'");
    }

    /// Value of an expression on the page.
    pub fn value(&mut self, expression: &str) -> Value {
        self.try_value(expression).unwrap_or_else(|error| panic!("{expression}: {error}"))
    }

    fn try_value(&mut self, expression: &str) -> Result<Value, Value> {
        let ask = json!({"expression": expression, "returnByValue": true, "awaitPromise": true});
        let mut answer = self.ask("Runtime.evaluate", ask)?;
        assert!(answer.get("exceptionDetails").is_none(), "{expression}: {answer}");
        Ok(answer["result"]["value"].take())
    }

    /// Waits until an expression is true.
    pub fn wait(&mut self, expression: &str) {
        let until = Instant::now() + PATIENCE;
        while Instant::now() < until {
            match self.try_value(expression) {
                Ok(value) if value == true => return,
                // The page went to another one while it was asked.
                Err(error) if error["message"] == "Inspected target navigated or closed" => {}
                Err(error) => panic!("{expression}: {error}"),
                Ok(_) => {}
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let page = self.value("document.body.innerText");
        panic!("never true: {expression}; the page says {page}");
    }

    /// Presses the middle of an element as a person would: where something lies over it, that is hit.
    pub fn press(&mut self, selector: &str) {
        let middle = format!(
            "(() => {{ const b = document.querySelector({selector:?}); b.scrollIntoView({{block: 'nearest'}}); \
             const r = b.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; }})()"
        );
        let middle = self.value(&middle);
        for kind in ["mousePressed", "mouseReleased"] {
            let event = json!({"type": kind, "x": middle[0], "y": middle[1], "button": "left", "clickCount": 1});
            self.call("Input.dispatchMouseEvent", event);
        }
    }

    /// Writes what is on the screen to a file, for people to look at.
    pub fn picture(&mut self, file: &Path) {
        let bytes = self.shot(json!({"format": "png"}));
        std::fs::write(file, bytes).expect("the picture is written");
    }

    /// What is on the screen as a PNG, so many pixels of it to one of the page.
    pub fn shrunk(&mut self, width: u32, height: u32, scale: f64) -> Vec<u8> {
        let clip = json!({"x": 0, "y": 0, "width": width, "height": height, "scale": scale});
        self.shot(json!({"format": "png", "clip": clip}))
    }

    fn shot(&mut self, params: Value) -> Vec<u8> {
        let shot = self.call("Page.captureScreenshot", params);
        base64(shot["data"].as_str().expect("a picture"))
    }
}

/// RFC 4648, section 4.
fn base64(text: &str) -> Vec<u8> {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let digits: Vec<u32> = text
        .bytes()
        .filter_map(|b| ALPHABET.iter().position(|a| *a == b).and_then(|i| u32::try_from(i).ok()))
        .collect();
    let mut bytes = Vec::new();
    for group in digits.chunks(4) {
        let bits = group.iter().enumerate().fold(0u32, |bits, (i, d)| bits | d << (18 - 6 * i));
        bytes.extend_from_slice(&bits.to_be_bytes()[1..group.len()]);
    }
    bytes
}
