//! A browser of the machine's own, driven over the DevTools protocol: one page, no network, no profile kept.

use std::io::Write as _;
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tungstenite::stream::MaybeTlsStream;
use tungstenite::{Message, WebSocket};

/// Longer than any answer may take on a busy machine: past it, the browser hangs.
const HANGS_AFTER: Duration = Duration::from_secs(60);

/// A running browser with one page.
pub struct Chrome {
    child: Child,
    socket: WebSocket<MaybeTlsStream<TcpStream>>,
    session: String,
    next: u64,
    /// Everything that the page reported by itself, in order.
    pub events: Vec<Value>,
    _profile: tempfile::TempDir,
}

impl Drop for Chrome {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The browser's program: `$CHROME`, else the first of the usual names on the path.
pub fn program() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("CHROME") {
        return Some(PathBuf::from(named));
    }
    let folders = std::env::var_os("PATH")?;
    ["chromium", "chromium-browser", "google-chrome"]
        .iter()
        .flat_map(|name| std::env::split_paths(&folders).map(move |f| f.join(name)))
        .find(|p| p.is_file())
}

impl Chrome {
    /// Starts the browser; `None`, said loudly, where the machine has none.
    pub fn start() -> Option<Chrome> {
        let Some(program) = program() else {
            // Not by a macro: what those print is kept back where a test passes.
            let _ = std::io::stderr().write_all(
                b"SKIPPED: no chromium, chromium-browser or google-chrome on the path and no $CHROME; the page is not tested in a browser\n",
            );
            return None;
        };
        let profile = tempfile::tempdir().unwrap();
        let child = Command::new(&program)
            .args(["--headless=new", "--no-sandbox", "--disable-gpu"])
            .args([
                "--no-first-run",
                "--disable-extensions",
                "--hide-scrollbars",
            ])
            .args(["--disable-background-networking", "--disable-dev-shm-usage"])
            .args(["--remote-debugging-port=0", "--lang=en-GB"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("{}: {e}", program.display()));
        let address = wait_for_address(&profile.path().join("DevToolsActivePort"));
        let (socket, _) = tungstenite::connect(address.as_str()).unwrap();
        if let MaybeTlsStream::Plain(stream) = socket.get_ref() {
            stream.set_read_timeout(Some(HANGS_AFTER)).unwrap();
        }
        let mut chrome = Chrome {
            child,
            socket,
            session: String::new(),
            next: 0,
            events: Vec::new(),
            _profile: profile,
        };
        let target = chrome.call("Target.createTarget", json!({"url": "about:blank"}));
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        let session = chrome.call("Target.attachToTarget", attach);
        chrome.session = session["sessionId"].as_str().unwrap().to_owned();
        for domain in ["Page", "Runtime", "Log", "Network"] {
            chrome.call(&format!("{domain}.enable"), json!({}));
        }
        Some(chrome)
    }

    /// Calls a method of the protocol and gives its result.
    #[track_caller]
    pub fn call(&mut self, method: &str, params: Value) -> Value {
        self.next += 1;
        let mut message = json!({"id": self.next, "method": method, "params": params});
        if !self.session.is_empty() {
            message["sessionId"] = json!(self.session);
        }
        self.socket
            .send(Message::text(message.to_string()))
            .unwrap();
        loop {
            let answer = self.read();
            if answer["id"] == json!(self.next) {
                assert!(answer.get("error").is_none(), "{method}: {answer}");
                return answer["result"].clone();
            }
        }
    }

    fn read(&mut self) -> Value {
        loop {
            if let Message::Text(text) = self.socket.read().expect("the browser answers") {
                let message: Value = serde_json::from_str(&text).unwrap();
                if message.get("method").is_some() {
                    self.events.push(message.clone());
                }
                return message;
            }
        }
    }

    /// As [`Chrome::load`], and waits until what scripts do at the start is drawn.
    pub fn open(&mut self, file: &Path, width: u32, height: u32) {
        self.load(file, width, height);
        self.evaluate(
            "new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(() => r(1))))",
        );
    }

    /// Opens a file, the screen being `width` by `height`, and waits until it has loaded.
    pub fn load(&mut self, file: &Path, width: u32, height: u32) {
        self.resize(width, height);
        self.events.clear();
        let url = format!("file://{}", file.display());
        self.call("Page.navigate", json!({"url": url}));
        let start = Instant::now();
        while !{ self.events.iter() }.any(|e| e["method"] == "Page.loadEventFired") {
            assert!(start.elapsed() < HANGS_AFTER, "{url} does not load");
            self.read();
        }
    }

    /// The screen's size from now on.
    pub fn resize(&mut self, width: u32, height: u32) {
        let phone = width < 500;
        self.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone}),
        );
    }

    /// A value computed in the page; a promise is waited for.
    #[track_caller]
    pub fn evaluate(&mut self, expression: &str) -> Value {
        let asked = json!({"expression": expression, "returnByValue": true, "awaitPromise": true});
        let answer = self.call("Runtime.evaluate", asked);
        assert!(
            answer.get("exceptionDetails").is_none(),
            "{expression}\n{}",
            answer["exceptionDetails"]
        );
        answer["result"]["value"].clone()
    }

    /// Light or dark, on a screen or on paper.
    pub fn show_as(&mut self, media: &str, theme: &str) {
        let features = json!([{"name": "prefers-color-scheme", "value": theme}]);
        self.call(
            "Emulation.setEmulatedMedia",
            json!({"media": media, "features": features}),
        );
    }

    /// Presses and lets go of a key, such as `Tab` with its code.
    pub fn press(&mut self, key: &str, code: u32) {
        for kind in ["rawKeyDown", "char", "keyUp"] {
            let text = match key {
                "Enter" => "\r",
                " " => " ",
                _ => "",
            };
            if kind == "char" && text.is_empty() {
                continue;
            }
            self.call(
                "Input.dispatchKeyEvent",
                json!({"type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code, "text": text}),
            );
        }
    }

    /// Everything that a console would show in red, and every exception.
    pub fn complaints(&self) -> Vec<String> {
        let told = |e: &&Value| match e["method"].as_str() {
            Some("Runtime.exceptionThrown") => true,
            Some("Runtime.consoleAPICalled") => {
                matches!(
                    e["params"]["type"].as_str(),
                    Some("error" | "warning" | "assert")
                )
            }
            Some("Log.entryAdded") => true,
            _ => false,
        };
        self.events
            .iter()
            .filter(told)
            .map(Value::to_string)
            .collect()
    }

    /// Addresses that the page asked for, its own file aside.
    pub fn requests(&self, own: &Path) -> Vec<String> {
        let own = format!("file://{}", own.display());
        self.events
            .iter()
            .filter(|e| e["method"] == "Network.requestWillBeSent")
            .filter_map(|e| e["params"]["request"]["url"].as_str())
            .filter(|url| *url != own && !url.starts_with("data:"))
            .map(str::to_owned)
            .collect()
    }

    /// A picture of the whole page, where `$BROWSER_PICTURES` names a folder to keep them in.
    pub fn picture(&mut self, name: &str) {
        let Some(folder) = std::env::var_os("BROWSER_PICTURES") else {
            return;
        };
        let asked = json!({"format": "png", "captureBeyondViewport": true});
        let answer = self.call("Page.captureScreenshot", asked);
        self.keep(Path::new(&folder), name, &answer);
    }

    /// The page as it would be printed; kept like a picture. Gives the document's size in bytes.
    pub fn print(&mut self, name: &str) -> usize {
        let answer = self.call(
            "Page.printToPDF",
            json!({"printBackground": true, "preferCSSPageSize": true}),
        );
        if let Some(folder) = std::env::var_os("BROWSER_PICTURES") {
            self.keep(Path::new(&folder), name, &answer);
        }
        decoded(answer["data"].as_str().unwrap()).len()
    }

    fn keep(&self, folder: &Path, name: &str, answer: &Value) {
        let bytes = decoded(answer["data"].as_str().unwrap());
        std::fs::create_dir_all(folder).unwrap();
        std::fs::write(folder.join(name), bytes).unwrap();
    }
}

/// Where the browser listens, once it does.
fn wait_for_address(file: &Path) -> String {
    let start = Instant::now();
    loop {
        if let Ok(text) = std::fs::read_to_string(file)
            && let Some((port, path)) = text.split_once('\n')
            && !path.trim().is_empty()
        {
            return format!("ws://127.0.0.1:{port}{}", path.trim());
        }
        assert!(start.elapsed() < HANGS_AFTER, "the browser does not start");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Base 64 back to bytes.
fn decoded(text: &str) -> Vec<u8> {
    let value = |c: u8| match c {
        b'A'..=b'Z' => c - b'A',
        b'a'..=b'z' => c - b'a' + 26,
        b'0'..=b'9' => c - b'0' + 52,
        b'+' => 62,
        _ => 63,
    };
    let signs: Vec<u8> = text.bytes().filter(|c| *c != b'=').map(value).collect();
    let group = |four: &[u8]| {
        let bits =
            { four.iter() }.fold(0_u32, |n, v| n << 6 | u32::from(*v)) << (6 * (4 - four.len()));
        bits.to_be_bytes()[1..four.len()].to_vec()
    };
    signs.chunks(4).flat_map(group).collect()
}
