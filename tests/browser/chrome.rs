//! A real browser, driven over its own debugging pipe (Chrome DevTools Protocol: JSON messages, each
//! ended by a zero byte). Needs nothing but the browser and a shell that ties the pipe's two ends.

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// Longest wait for one answer: a busy machine is slow, a lost answer must not hang the run.
const PATIENCE: Duration = Duration::from_secs(90);

/// One browser with one tab.
pub struct Chrome {
    child: Child,
    to: ChildStdin,
    from: Receiver<Value>,
    sent: u64,
    tab: Option<String>,
    events: Vec<Value>,
    _profile: tempfile::TempDir,
}

/// Size and look of the tab.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    pub width: u32,
    pub height: u32,
    pub dark: bool,
}

pub const LAPTOP: Look = Look {
    width: 1366,
    height: 768,
    dark: false,
};
pub const PHONE: Look = Look {
    width: 390,
    height: 844,
    dark: true,
};

fn browser() -> Option<PathBuf> {
    let folders = std::env::var_os("PATH")?;
    let folders: Vec<PathBuf> = std::env::split_paths(&folders).collect();
    ["chromium", "chromium-browser", "google-chrome"]
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)))
        .find(|path| path.is_file())
}

impl Chrome {
    /// Starts the browser; where there is none, says so past the test harness and gives nothing.
    pub fn start() -> Option<Self> {
        let Some(program) = browser() else {
            // straight to stderr: the harness hides what a passing test prints
            let line =
                "skipped: no chromium on this machine, the page was not opened in a browser\n";
            let _ = std::io::stderr().write_all(line.as_bytes());
            return None;
        };
        let profile = tempfile::tempdir().expect("a folder");
        let mut child = Command::new("sh")
            .args(["-c", "exec \"$0\" \"$@\" 3<&0 4>&1 >/dev/null"])
            .arg(program)
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--disable-dev-shm-usage",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--hide-scrollbars",
                "--remote-debugging-pipe",
            ])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the browser starts");
        let to = child.stdin.take().expect("a pipe");
        let mut answers = BufReader::new(child.stdout.take().expect("a pipe"));
        let (sender, from) = channel();
        std::thread::spawn(move || {
            let mut bytes = Vec::new();
            while answers.read_until(0, &mut bytes).is_ok_and(|n| n > 0) {
                bytes.pop();
                let Ok(message) = serde_json::from_slice(&bytes) else {
                    break;
                };
                if sender.send(message).is_err() {
                    break;
                }
                bytes.clear();
            }
        });
        let mut chrome = Self {
            child,
            to,
            from,
            sent: 0,
            tab: None,
            events: Vec::new(),
            _profile: profile,
        };
        let target = chrome.ask("Target.createTarget", json!({ "url": "about:blank" }));
        let attach = json!({ "targetId": target["targetId"], "flatten": true });
        let tab = chrome.ask("Target.attachToTarget", attach)["sessionId"].clone();
        chrome.tab = Some(tab.as_str().expect("a tab").to_owned());
        for domain in ["Page", "Runtime", "Log", "Network", "Accessibility"] {
            chrome.ask(&format!("{domain}.enable"), json!({}));
        }
        Some(chrome)
    }

    fn receive(&mut self) -> Value {
        self.from
            .recv_timeout(PATIENCE)
            .expect("the browser answers")
    }

    /// Sends a command and waits for its result; events on the way are kept.
    pub fn ask(&mut self, method: &str, params: Value) -> Value {
        self.sent += 1;
        let id = self.sent;
        let mut message = json!({ "id": id, "method": method, "params": params });
        if let Some(tab) = &self.tab {
            message["sessionId"] = json!(tab);
        }
        let mut bytes = serde_json::to_vec(&message).expect("JSON");
        bytes.push(0);
        self.to.write_all(&bytes).expect("the browser listens");
        loop {
            let answer = self.receive();
            if answer["id"] == json!(id) {
                assert!(answer["error"].is_null(), "{method}: {}", answer["error"]);
                return answer["result"].clone();
            }
            self.events.push(answer);
        }
    }

    /// Opens a file and waits until it is loaded.
    pub fn open(&mut self, file: &Path, look: Look) {
        let Look {
            width,
            height,
            dark,
        } = look;
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 }),
        );
        let scheme = if dark { "dark" } else { "light" };
        self.ask(
            "Emulation.setEmulatedMedia",
            json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] }),
        );
        self.events.clear();
        self.ask(
            "Page.navigate",
            json!({ "url": format!("file://{}", file.display()) }),
        );
        let loaded = |event: &Value| event["method"] == "Page.loadEventFired";
        while !self.events.iter().any(loaded) {
            let event = self.receive();
            self.events.push(event);
        }
    }

    /// The value of an expression in the page.
    pub fn value(&mut self, expression: &str) -> Value {
        let asked =
            json!({ "expression": expression, "returnByValue": true, "awaitPromise": true });
        let answer = self.ask("Runtime.evaluate", asked);
        let fault = &answer["exceptionDetails"];
        assert!(fault.is_null(), "{expression}: {fault}");
        answer["result"]["value"].clone()
    }

    /// Waits until an expression is true.
    #[track_caller]
    pub fn until(&mut self, expression: &str) {
        let start = Instant::now();
        while self.value(expression) != json!(true) {
            assert!(start.elapsed() < PATIENCE / 6, "never true: {expression}");
            std::thread::sleep(Duration::from_millis(30));
        }
    }

    pub fn key(&mut self, key: &str, code: u32) {
        for kind in ["rawKeyDown", "keyUp"] {
            self.ask(
                "Input.dispatchKeyEvent",
                json!({ "type": kind, "key": key, "code": key, "windowsVirtualKeyCode": code }),
            );
        }
        if key == "Enter" {
            self.ask(
                "Input.dispatchKeyEvent",
                json!({ "type": "char", "text": "\r", "key": key }),
            );
        }
    }

    /// Brings an element to the middle of the screen and clicks on it with the mouse.
    pub fn click(&mut self, selector: &str) {
        let place = self.value(&format!(
            "(() => {{ const e = document.querySelector({selector:?}); e.scrollIntoView({{block: 'center'}});
              const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; }})()"
        ));
        let event = |kind: &str| json!({ "type": kind, "x": place[0], "y": place[1], "button": "left", "clickCount": 1 });
        for kind in ["mouseMoved", "mousePressed", "mouseReleased"] {
            self.ask("Input.dispatchMouseEvent", event(kind));
        }
    }

    /// Everything the page said on the console, threw, or asked the network for, since it was opened.
    pub fn complaints(&mut self, own: &Path) -> Vec<String> {
        self.value("new Promise(done => setTimeout(() => done(true), 200))");
        let own = format!("file://{}", own.display());
        let mut found = Vec::new();
        for event in &self.events {
            let params = &event["params"];
            match event["method"].as_str().unwrap_or_default() {
                "Runtime.consoleAPICalled" | "Runtime.exceptionThrown" | "Log.entryAdded" => {
                    found.push(params.to_string());
                }
                "Network.requestWillBeSent" => {
                    let url = params["request"]["url"].as_str().unwrap_or_default();
                    if url.split('#').next() != Some(&own) && !url.starts_with("data:") {
                        found.push(format!("request: {url}"));
                    }
                }
                _ => {}
            }
        }
        found
    }

    /// The page as PDF bytes, on paper of this size in inches.
    pub fn print(&mut self, width_in: f64, height_in: f64) -> Vec<u8> {
        let paper =
            json!({ "paperWidth": width_in, "paperHeight": height_in, "preferCSSPageSize": false });
        let answer = self.ask("Page.printToPDF", paper);
        from_base64(answer["data"].as_str().expect("a PDF"))
    }
}

impl Drop for Chrome {
    fn drop(&mut self) {
        self.tab = None;
        let bytes = b"{\"id\":0,\"method\":\"Browser.close\"}\0";
        let _ = self.to.write_all(bytes);
        let start = Instant::now();
        while start.elapsed() < Duration::from_secs(5) {
            if matches!(self.child.try_wait(), Ok(Some(_))) {
                return;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Base64 to bytes. Source: RFC 4648, section 4; its test vectors (section 10) are in this file.
fn from_base64(text: &str) -> Vec<u8> {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut bytes = Vec::new();
    let (mut held, mut bits) = (0_u32, 0);
    for letter in text.bytes().filter(|b| *b != b'=') {
        let six = LETTERS.iter().position(|l| *l == letter).expect("base64");
        held = held << 6 | u32::try_from(six).expect("six bits");
        bits += 6;
        if bits >= 8 {
            bits -= 8;
            bytes.push(u8::try_from(held >> bits & 0xff).expect("a byte"));
        }
        held &= 0xfff;
    }
    bytes
}

#[test]
fn base64_vectors() {
    for (coded, plain) in [
        ("Zg==", "f"),
        ("Zm8=", "fo"),
        ("Zm9v", "foo"),
        ("Zm9vYmFy", "foobar"),
    ] {
        assert_eq!(from_base64(coded), plain.as_bytes());
    }
}
