//! A running program without a socket: temporary store, index in memory.

use std::{sync::Arc, time::Duration};

use axum::{
    Router,
    body::Body,
    http::{Request, StatusCode, header},
    response::Response,
};
use coldtrap::{
    casebook::{Asker, SiteCode, SiteScope},
    catalogue::{Catalogue, source},
    demo,
    follow::Follower,
    knowledge::Knowledge,
    search::{IndexInUse, Shelf},
    store::Store,
    vacuum::residual_gas::Patterns,
    web::{self, App},
};
use http_body_util::BodyExt;
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
use tempfile::TempDir;
use tower::ServiceExt;

/// The program with its parts.
pub struct TestApp {
    pub store: Store,
    pub catalogue: Arc<Catalogue>,
    pub index: IndexInUse,
    router: Router,
    follower: Follower,
    folder: TempDir,
}

/// What came back.
#[must_use]
#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub location: Option<String>,
    pub kind: String,
    pub text: String,
}

impl TestApp {
    /// An empty fleet.
    pub async fn empty() -> Self {
        Self::empty_with(source::built_in_patterns().expect("the built-in patterns are right"))
            .await
    }

    /// An empty fleet whose site uses these cracking patterns.
    pub async fn empty_with(patterns: Patterns) -> Self {
        let catalogue = source::built_in().expect("the built-in catalogue is right");
        Self::of(patterns, catalogue, Asker::console()).await
    }

    /// The demo fleet for somebody who may see one site only.
    pub async fn demo_for(site: &str) -> Self {
        let catalogue = source::built_in().expect("the built-in catalogue is right");
        let patterns = source::built_in_patterns().expect("the built-in patterns are right");
        let asker = Asker {
            name: None,
            scope: SiteScope::Only(SiteCode::new(site)),
        };
        Self::of(patterns, catalogue, asker).await.filled().await
    }

    /// The demo fleet, advised by this catalogue.
    pub async fn demo_by(catalogue: Catalogue) -> Self {
        let patterns = source::built_in_patterns().expect("the built-in patterns are right");
        Self::of(patterns, catalogue, Asker::console())
            .await
            .filled()
            .await
    }

    async fn of(patterns: Patterns, catalogue: Catalogue, asker: Asker) -> Self {
        let (patterns, catalogue) = (Arc::new(patterns), Arc::new(catalogue));
        let folder = TempDir::new().expect("a temporary folder");
        let store = Store::open(&url_in(&folder))
            .await
            .expect("a fresh store opens");
        let shelf = Shelf::in_memory().expect("an index in memory");
        let knowledge = Arc::new(Knowledge::new(&catalogue).expect("a usable catalogue"));
        let follower = Follower::new(
            store.clone(),
            shelf,
            Arc::clone(&knowledge),
            Arc::clone(&catalogue),
        )
        .await
        .expect("a follower of a fresh store");
        let router = web::router(App {
            store: store.clone(),
            index: follower.index(),
            knowledge,
            catalogue: Arc::clone(&catalogue),
            patterns,
            replays: Arc::default(),
            suggestions: Arc::default(),
            holding: Arc::default(),
            asker,
            progress: follower.progress(),
        });
        Self {
            store,
            catalogue,
            index: follower.index(),
            router,
            follower,
            folder,
        }
    }

    /// The demo fleet.
    pub async fn demo() -> Self {
        Self::empty().await.filled().await
    }

    async fn filled(mut self) -> Self {
        demo::fill(&self.store, &self.catalogue)
            .await
            .expect("the demo's data keeps the rules");
        self.settle().await;
        self
    }

    /// Renames every table of the store but these, so that nothing can read them, and gives
    /// their names.
    pub async fn hide_tables_but(&self, kept: &[&str]) -> Vec<String> {
        let mut store = SqliteConnection::connect(&url_in(&self.folder))
            .await
            .expect("the store opens");
        let tables: Vec<String> = sqlx::query_scalar(
            "select name from sqlite_schema where type = 'table' and name not like 'sqlite%'",
        )
        .fetch_all(&mut store)
        .await
        .expect("the tables");
        let hidden: Vec<String> = tables
            .into_iter()
            .filter(|table| !kept.contains(&table.as_str()))
            .collect();
        for table in &hidden {
            let rename = format!("alter table {table} rename to hidden_{table}");
            sqlx::raw_sql(AssertSqlSafe(rename))
                .execute(&mut store)
                .await
                .expect("a table can be renamed");
        }
        hidden
    }

    /// Lets index and knowledge take what was written.
    pub async fn settle(&mut self) {
        self.follower
            .catch_up()
            .await
            .expect("the follower follows");
    }

    pub async fn get(&self, address: &str) -> Answer {
        self.send(
            Request::get(address)
                .body(Body::empty())
                .expect("a request"),
        )
        .await
    }

    /// Sends a form.
    pub async fn form(&self, address: &str, fields: &[(&str, &str)]) -> Answer {
        let body = form_urlencoded::Serializer::new(String::new())
            .extend_pairs(fields)
            .finish();
        let request = Request::post(address)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .expect("a request");
        self.send(request).await
    }

    /// Sends the form of a calculation with files, as a browser does.
    pub async fn upload(
        &self,
        name: &str,
        fields: &[(&str, &str)],
        files: &[(&str, &str)],
    ) -> Answer {
        const EDGE: &str = "----edge-of-parts";
        let mut body = String::new();
        for (name, value) in fields {
            body.push_str(&format!(
                "--{EDGE}\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
            ));
        }
        for (name, text) in files {
            body.push_str(&format!(
                "--{EDGE}\r\ncontent-disposition: form-data; name=\"{name}\"; filename=\"a.csv\"\r\n\
                 content-type: text/csv\r\n\r\n"
            ));
            body.push_str(text);
            body.push_str("\r\n");
        }
        body.push_str(&format!("--{EDGE}--\r\n"));
        let request = Request::post(format!("/calculations/{name}"))
            .header(
                header::CONTENT_TYPE,
                format!("multipart/form-data; boundary={EDGE}"),
            )
            .body(Body::from(body))
            .expect("a request");
        self.send(request).await
    }

    /// Sends JSON.
    pub async fn post(&self, address: &str, body: &Value) -> Answer {
        self.post_with(address, body, &[]).await
    }

    /// Sends JSON with more headers.
    pub async fn post_with(&self, address: &str, body: &Value, headers: &[(&str, &str)]) -> Answer {
        let mut request = Request::post(address).header(header::CONTENT_TYPE, "application/json");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let request = request
            .body(Body::from(body.to_string()))
            .expect("a request");
        self.send(request).await
    }

    /// Sends a request whose answer need not be text.
    pub async fn respond(&self, request: Request<Body>) -> Response {
        responded(self.router.clone(), request).await
    }

    pub async fn send(&self, request: Request<Body>) -> Answer {
        Answer::of(self.respond(request).await).await
    }

    /// Sends a request while index and knowledge lack what was written; they take it once the answer
    /// has had time to be given without it.
    pub async fn send_before_settling(&mut self, request: Request<Body>) -> Answer {
        let asked = responded(self.router.clone(), request);
        let settled = async {
            tokio::time::sleep(Duration::from_millis(300)).await;
            self.settle().await;
        };
        let (response, ()) = tokio::join!(asked, settled);
        Answer::of(response).await
    }
}

async fn responded(router: Router, request: Request<Body>) -> Response {
    let response = router.oneshot(request).await;
    response.expect("the router always answers")
}

impl Answer {
    async fn of(response: Response) -> Self {
        let status = response.status();
        let header = |name| {
            response
                .headers()
                .get(name)
                .and_then(|value| value.to_str().ok())
                .map(str::to_owned)
        };
        let location = header(header::LOCATION);
        let kind = header(header::CONTENT_TYPE).unwrap_or_default();
        let bytes = response
            .into_body()
            .collect()
            .await
            .expect("a whole body")
            .to_bytes();
        Self {
            status,
            location,
            kind,
            text: String::from_utf8(bytes.to_vec()).expect("text"),
        }
    }
}

fn url_in(folder: &TempDir) -> String {
    format!("sqlite://{}", folder.path().join("test.db").display())
}

impl Answer {
    /// The body as JSON, which it has to be.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.text)
            .unwrap_or_else(|error| panic!("not JSON ({error}): {}", self.text))
    }

    /// The answer, if it has this status.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status.as_u16(), status, "{}", self.text);
        self
    }

    #[track_caller]
    pub fn assert_shows(&self, words: &str) {
        assert!(self.shows(words), "no {words:?} in:\n{}", self.text);
    }

    /// Whether it holds these words; what keeps numbers on one line is no part of them.
    pub fn shows(&self, words: &str) -> bool {
        const WHOLE: &str = "<span class=\"whole\">";
        let mut parts = self.text.split(WHOLE);
        let mut read = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            read.push_str(&part.replacen("</span>", "", 1));
        }
        read.contains(words) || self.text.contains(words)
    }
}
