//! The worked examples of the RFCs, and challenges as servers send them.

use super::super::secret::Secret;
use super::*;

fn choose(fields: &[&str]) -> Option<Challenge> {
    let fields: Vec<String> = fields.iter().map(ToString::to_string).collect();
    Challenge::choose(&fields)
}

/// RFC 7616 section 3.9.1.
#[test]
fn the_example_of_rfc_7616_comes_out_in_both_hashes() {
    let both = [
        "Digest realm=\"http-auth@example.org\", qop=\"auth, auth-int\", algorithm=SHA-256, \
         nonce=\"7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v\", opaque=\"FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS\"",
        "Digest realm=\"http-auth@example.org\", qop=\"auth, auth-int\", algorithm=MD5, \
         nonce=\"7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v\", opaque=\"FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS\"",
    ];
    let response = |fields: &[&str]| {
        choose(fields)
            .unwrap()
            .response(
                b"Mufasa",
                b"Circle of Life",
                ("GET", "/dir/index.html"),
                "f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ",
            )
            .to_string()
    };
    assert_eq!(
        response(&both),
        "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1"
    );
    assert_eq!(response(&both[1..]), "8ca523f5e9506fed4657c9700eebdbec");
}

/// RFC 2617 section 3.5; and what comes out of the same without `qop`, and with a session: worked out with
/// Python's hashlib.
#[test]
fn the_example_of_rfc_2617_comes_out() {
    let response = |rest: &str| {
        let field = format!(
            "Digest realm=\"testrealm@host.com\",{rest} nonce=\"dcd98b7102dd2f0e8b11d0f600bfb0c093\", \
             opaque=\"5ccc069c403ebaf9f0171e9517f40e41\""
        );
        choose(&[&field])
            .unwrap()
            .response(
                b"Mufasa",
                b"Circle Of Life",
                ("GET", "/dir/index.html"),
                "0a4f113b",
            )
            .to_string()
    };
    assert_eq!(
        response(" qop=\"auth,auth-int\","),
        "6629fae49393a05397450978507c4ef1"
    );
    assert_eq!(response(""), "670fd8c2df070c60b045671b8b24ff02");
    assert_eq!(
        response(" qop=auth, algorithm=MD5-sess,"),
        "8e3825c57e897f5a0dec6c2d4e5059d0"
    );
    assert_eq!(
        response(" qop=auth, algorithm=SHA-256-sess,"),
        "b8822e12417cb7750f4e2b8515f0dcf25b7dd26993e80bee1426201446a7f59b"
    );
}

#[test]
fn the_field_answers_all_that_was_asked() {
    let login = Login::new("stage \"left\"".to_owned(), Secret::new("pw".to_owned())).unwrap();
    let field = "Digest realm=\"a \\\"b\\\"\", nonce=n1, algorithm=sha-256, qop=\"auth\", opaque=\"x\"";
    let answer = choose(&[field])
        .unwrap()
        .answer(&login, "/onvif/device_service", &Draw::new([0xab; 16]));
    let cnonce = "ab".repeat(16);
    for part in [
        "Digest username=\"stage \\\"left\\\"\", realm=\"a \\\"b\\\"\", nonce=\"n1\", uri=\"/onvif/device_service\", response=\"",
        ", algorithm=sha-256, qop=auth, nc=00000001, cnonce=\"",
        &cnonce,
        "\", opaque=\"x\"",
    ] {
        assert!(answer.contains(part), "{answer}");
    }
    assert!(!answer.contains("pw"));
    // A server of RFC 2069 gets nothing that it did not ask for.
    let old = choose(&["Digest realm=\"r\", nonce=\"n\""]).unwrap();
    let old = old.answer(&login, "/", &Draw::new([1; 16]));
    for part in ["cnonce", "qop", "nc=", "algorithm", "opaque"] {
        assert!(!old.contains(part), "{old}");
    }
}

#[test]
fn the_first_that_can_be_answered_is_taken() {
    let digest = |more: &str| format!("Digest realm=\"r\", nonce=\"n\"{more}");
    assert!(choose(&["Basic realm=\"r\""]).is_none());
    for none in [
        digest(", algorithm=SHA-512-256"),
        digest(", qop=\"auth-int\""),
        digest(", opaque=\"a\rX\""),
        format!("Digest realm=\"{}\", nonce=\"n\"", "a".repeat(2_000)),
        "Digest realm=\"r\"".to_owned(),
        "Digest nonce=\"n\"".to_owned(),
        "Digest".to_owned(),
        "Digest realm=\"".to_owned(),
        "realm=\"r\", nonce=\"n\"".to_owned(),
        "= , == \"\" \\".to_owned(),
    ] {
        assert!(choose(&[&none]).is_none(), "{none}");
    }
    // Two in one field, the second of use.
    let one = "Basic realm=\"a, b\", dIGEST Realm = \"r\" , NONCE=\"n\",stale=TRUE";
    let found = choose(&[one]).unwrap();
    assert_eq!((found.realm.as_str(), found.nonce.as_str()), ("r", "n"));
    assert!(found.stale());
    let fields = [digest(", algorithm=SHA-512-256"), digest(", algorithm=MD5")];
    let fields: Vec<&str> = fields.iter().map(String::as_str).collect();
    let found = choose(&fields).unwrap();
    assert!(!found.stale());
    assert_eq!(found.hash, Hash::Md5);
    let escaped = choose(&["Digest realm=\"a\\\\\\\"b\", nonce=\"n\""]).unwrap();
    assert_eq!(escaped.realm, "a\\\"b");
}
