//! A real browser does the whole line: files a report and finds it again.
//!
//! Needs chromium and chromedriver, which `tests/run.sh` installs; without them the test
//! fails, it does not pass over.

use std::{
    io::{BufRead, BufReader},
    process::{Child, Command, Stdio},
};

use fantoccini::{Client, ClientBuilder, Locator, key::Key};
use serde_json::json;
use tempfile::TempDir;

use crate::support::process::Server;

/// The browser's driver; ended when dropped.
struct Driver {
    child: Child,
    port: u16,
}

impl Driver {
    fn start() -> Self {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts; tests/run.sh installs it");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let port = lines
            .by_ref()
            .map_while(Result::ok)
            .find_map(|line| {
                let port = line.split("on port ").nth(1)?;
                let port = port.trim_end_matches('.').parse().ok();
                port.filter(|port| *port != 0)
            })
            .expect("chromedriver says its port");
        std::thread::spawn(move || lines.for_each(drop));
        Self { child, port }
    }

    async fn browser(&self, profile: &TempDir, scripts: bool) -> Client {
        let mut arguments = vec![
            "--headless".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-quic".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--window-size=1280,900".to_owned(),
            format!("--user-data-dir={}", profile.path().display()),
        ];
        if !scripts {
            arguments.push("--blink-settings=scriptEnabled=false".to_owned());
        }
        let capabilities = json!({"goog:chromeOptions": {"args": arguments}});
        ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new())
            .capabilities(capabilities.as_object().expect("an object").clone())
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .expect("a browser")
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_filed_and_found_with_scripts() {
    whole_line(true).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_filed_and_found_without_scripts() {
    whole_line(false).await;
}

/// Suggestions come while somebody types, are walked with the arrow keys, and Enter takes one.
#[tokio::test(flavor = "multi_thread")]
async fn the_search_box_suggests_and_is_worked_by_keyboard() {
    let server = Server::start(&["demo", "--listen", "127.0.0.1:0"]);
    let driver = Driver::start();
    let profile = TempDir::new().expect("a folder");
    let browser = driver.browser(&profile, true).await;
    let front = format!("http://{}/", server.address);
    browser.goto(&front).await.expect("the front page");
    let search = browser
        .find(Locator::Css("main [name='q'][role='combobox']"))
        .await
        .expect("the search box");
    search.send_keys("stuck forel").await.expect("typed");
    let first = browser
        .wait()
        .for_element(Locator::Css("[role='listbox'] [role='option']"))
        .await
        .expect("suggestions");
    let expanded = search.attr("aria-expanded").await.expect("it");
    assert_eq!(expanded.as_deref(), Some("true"));
    search.send_keys(&Key::Down).await.expect("down");
    let active = search.attr("aria-activedescendant").await.expect("it");
    assert_eq!(active, first.attr("id").await.expect("its id"));
    search.send_keys(&Key::Enter).await.expect("taken");
    let typed = search.prop("value").await.expect("its value");
    assert_eq!(typed.as_deref(), Some("stuck foreline "));
    let expanded = search.attr("aria-expanded").await.expect("it");
    assert_eq!(expanded.as_deref(), Some("false"));
    // With nothing chosen, Enter searches as it always did.
    search.send_keys(&Key::Enter).await.expect("sent");
    browser
        .wait()
        .for_element(Locator::Css(".result-summary"))
        .await
        .expect("results");
    browser.close().await.expect("the browser ends");
}

async fn whole_line(scripts: bool) {
    let server = Server::start(&["demo", "--listen", "127.0.0.1:0"]);
    let driver = Driver::start();
    let profile = TempDir::new().expect("a folder");
    let browser = driver.browser(&profile, scripts).await;
    let at = |path: &str| format!("http://{}{path}", server.address);

    browser
        .goto(&at("/incidents/new?tool=BRK-04"))
        .await
        .expect("the form");
    let fill = async |name: &str, text: &str| {
        let field = browser
            .find(Locator::Css(&format!("[name='{name}']")))
            .await
            .unwrap_or_else(|error| panic!("no field {name}: {error}"));
        field.clear().await.expect("cleared");
        field.send_keys(text).await.expect("typed");
    };
    fill(
        "symptom",
        "Rosmarin fumes, hangs at 4e-5 with the shutters wrapped",
    )
    .await;
    fill("pressures.faulty.value", "4e-5").await;
    fill("fix", "pulled the wrap off the seal").await;
    fill("labour_minutes", "35").await;
    fill("down_hours", "6").await;
    fill("author", "browser").await;
    let select = browser
        .find(Locator::Css("[name='cause']"))
        .await
        .expect("causes");
    select
        .select_by_value("door-seal-tape-or-foil")
        .await
        .expect("the cause is offered");
    // The first try lacks the restored pressure and the closing time, and comes back filled in.
    save(&browser).await;
    let symptom = browser
        .find(Locator::Css("[name='symptom']"))
        .await
        .expect("the form again");
    let kept = symptom
        .prop("value")
        .await
        .expect("its value")
        .unwrap_or_default();
    assert!(kept.contains("Rosmarin"), "the symptom was lost: {kept:?}");
    let source = browser.source().await.expect("the page");
    assert!(
        source.contains("the pressure reached after the fix"),
        "no message beside the field"
    );

    fill("pressures.restored.value", "5e-7").await;
    let closed = browser
        .find(Locator::Css("[name='closed_at']"))
        .await
        .expect("closing time");
    // Typed as the browser's own field takes it: month, day, year, hour, minute.
    closed.send_keys("01022025").await.expect("typed");
    closed.send_keys(&Key::Tab).await.expect("typed");
    closed.send_keys("0405PM").await.expect("typed");
    let occurred = browser
        .find(Locator::Css("[name='occurred_at']"))
        .await
        .expect("time seen");
    occurred.send_keys("01022025").await.expect("typed");
    occurred.send_keys(&Key::Tab).await.expect("typed");
    occurred.send_keys("0905AM").await.expect("typed");
    save(&browser).await;
    let source = browser.source().await.expect("the page");
    assert!(source.contains("Filed as number"), "not filed: {source}");

    browser.goto(&at("/")).await.expect("the front page");
    let search = browser
        .find(Locator::Css("main [name='q']"))
        .await
        .expect("the search box");
    search
        .send_keys("wrapping of shutter smells of rosmarin")
        .await
        .expect("typed");
    search.send_keys(&Key::Enter).await.expect("sent");
    let mut found = String::new();
    // Within a second it can be found; the browser is given a few tries.
    for _ in 0..20 {
        found = browser.source().await.expect("results");
        if found.contains("<mark>Rosmarin</mark>") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        browser.refresh().await.expect("again");
    }
    assert!(
        found.contains("<mark>Rosmarin</mark>"),
        "not found: {found}"
    );
    browser.close().await.expect("the browser ends");
}

/// By keyboard, as a form is sent fastest. Returns once another page stands in place of the
/// form: what is typed before that would be typed into the old one and be lost.
async fn save(browser: &Client) {
    let author = browser
        .find(Locator::Css("[name='author']"))
        .await
        .expect("the author's field");
    author.send_keys(&Key::Enter).await.expect("sent");
    for _ in 0..600 {
        if author.tag_name().await.is_err() {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("the form was not sent");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_checks_are_ordered_anew_in_place_with_scripts() {
    what_if(true).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_checks_are_ordered_anew_by_a_plain_form_without_scripts() {
    what_if(false).await;
}

/// States that the first check was clear, and gets the order made anew: in the page that is
/// there where scripts are on, by another page where not. Either way the address can be passed
/// on, and the way back leads to the order before.
async fn what_if(scripts: bool) {
    let server = Server::start(&["demo", "--listen", "127.0.0.1:0"]);
    let driver = Driver::start();
    let profile = TempDir::new().expect("a folder");
    let browser = driver.browser(&profile, scripts).await;
    let address = format!("http://{}/sequence/tools/BRK-04", server.address);
    browser.goto(&address).await.expect("the sequence");
    let heading = browser
        .find(Locator::Css("h1"))
        .await
        .expect("the heading of the page");
    if scripts {
        browser
            .execute("window.kept = 'the same page'", Vec::new())
            .await
            .expect("a mark that a new page would not have");
    }
    let first = first_check(&browser).await;
    let clear = browser
        .find(Locator::XPath(
            "(//ol[@class='steps']//input[@value='clear'])[1]",
        ))
        .await
        .expect("its outcome can be stated");
    // By keyboard: where a pointer would hit depends on how far the page has scrolled.
    clear.send_keys(" ").await.expect("stated");
    let again = browser
        .find(Locator::XPath(
            "//section[@aria-labelledby='steps-title']//button[@type='submit']",
        ))
        .await
        .expect("a button");
    again.send_keys(&Key::Enter).await.expect("sent");
    until(&browser, |url| url.contains("outcomes.")).await;
    let then = first_check(&browser).await;
    assert_ne!(first, then, "a check that was made is not the next one");
    if scripts {
        let kept = browser
            .execute("return window.kept", Vec::new())
            .await
            .expect("the mark");
        assert_eq!(kept, json!("the same page"), "the page was loaded anew");
        let said = browser
            .find(Locator::Css("[role='status'].heard"))
            .await
            .expect("what a screen reader hears")
            .prop("textContent")
            .await
            .expect("its words")
            .unwrap_or_default();
        assert!(said.contains(&then), "{said:?} does not name {then:?}");
    }
    // The heading belongs to what was replaced, by either way.
    assert!(heading.tag_name().await.is_err());
    let shared = browser.current_url().await.expect("the address");
    browser.goto(shared.as_str()).await.expect("passed on");
    assert_eq!(first_check(&browser).await, then);
    // Going to the address one is at adds nothing to go back from.
    browser.back().await.expect("back");
    until(&browser, |url| !url.contains("outcomes.")).await;
    assert_eq!(first_check(&browser).await, first);
    browser.close().await.expect("the browser ends");
}

async fn first_check(browser: &Client) -> String {
    // Found again for as long as the page is being replaced under our hands.
    for _ in 0..600 {
        if let Ok(step) = browser.find(Locator::Css(".step h3")).await
            && let Ok(text) = step.text().await
        {
            return text;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("no check is shown");
}

async fn until(browser: &Client, there: impl Fn(&str) -> bool) {
    for _ in 0..600 {
        if there(browser.current_url().await.expect("the address").as_str()) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("the address stayed as it was");
}
