//! What a search found, as tests read it.

use serde_json::Value;

use super::app::TestApp;

/// The answer to what is typed, with its first 50 hits.
pub async fn hits(app: &TestApp, query: &str) -> Value {
    hits_up_to(app, query, 50).await
}

/// The answer to what is typed, with so many hits at most.
pub async fn hits_up_to(app: &TestApp, query: &str, limit: usize) -> Value {
    let words = form_urlencoded::byte_serialize(query.as_bytes()).collect::<String>();
    let path = format!("/api/search?q={words}&limit={limit}");
    app.get(&path).await.expect(200).json()
}

/// Numbers of the incidents found, in order.
pub fn numbers(found: &Value) -> Vec<i64> {
    let hits = found["hits"].as_array().expect("hits").iter();
    hits.filter_map(|hit| hit["number"].as_i64()).collect()
}

/// Why an incident that was found matched.
pub fn why(found: &Value, number: i64) -> String {
    let mut hits = found["hits"].as_array().expect("hits").iter();
    let hit = hits.find(|hit| hit["number"] == number).expect("the hit");
    hit["why"].to_string()
}
