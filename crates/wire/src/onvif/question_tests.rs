//! Whole requests, read back with the same reader of XML that answers are read with.

use proptest::prelude::*;

use super::super::secret::Secret;
use super::*;

const HOST: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);

fn login() -> Login {
    Login::new("stage & <left>".to_owned(), Secret::new("pw-7\"&".to_owned())).unwrap()
}

fn token(text: &str) -> Token {
    Token::new(text).unwrap()
}

fn text_of(question: &Question, pass: Pass<'_>) -> String {
    let place = Place::usual(Ipv4Addr::new(10, 40, 8, 99), 2000).at(HOST);
    String::from_utf8(question.request(&place, pass)).unwrap()
}

fn all() -> Vec<Question> {
    let net = "10.40.8.31/24".parse().unwrap();
    vec![
        Question::Clock,
        Question::Interfaces,
        Question::Gateway,
        Question::SetInterface(token("eth0"), Setting::Manual(net)),
        Question::SetInterface(token("eth0"), Setting::Dhcp),
        Question::SetGateway(Ipv4Addr::new(10, 40, 8, 1)),
        Question::Restart,
    ]
}

#[test]
fn a_request_says_where_it_goes_what_it_is_and_how_long() {
    for question in all() {
        let text = text_of(&question, Pass::Nobody);
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        assert!(head.starts_with("POST /onvif/device_service HTTP/1.1\r\nHost: 10.40.8.21:2000\r\n"));
        assert!(head.contains(&format!("\r\nContent-Length: {}\r\n", body.len())));
        assert!(head.contains(&format!(
            "action=\"http://www.onvif.org/ver10/device/wsdl/{}\"\r\n",
            question.name()
        )));
        let node = crate::onvif::tree::body(body.as_bytes()).unwrap();
        assert!(node.is(question.name()), "{body}");
        assert_eq!(question.changes(), !question.name().starts_with("Get"));
    }
}

#[test]
fn a_change_says_all_that_the_device_needs() {
    let [_, _, _, manual, dhcp, gateway, _] = all().try_into().unwrap();
    assert_eq!(
        manual.body(),
        "<tds:SetNetworkInterfaces><tds:InterfaceToken>eth0</tds:InterfaceToken><tds:NetworkInterface>\
         <tt:Enabled>true</tt:Enabled><tt:IPv4><tt:Enabled>true</tt:Enabled><tt:Manual><tt:Address>10.40.8.31</tt:Address>\
         <tt:PrefixLength>24</tt:PrefixLength></tt:Manual><tt:DHCP>false</tt:DHCP></tt:IPv4></tds:NetworkInterface>\
         </tds:SetNetworkInterfaces>"
    );
    assert!(
        dhcp.body()
            .contains("<tt:Enabled>true</tt:Enabled><tt:DHCP>true</tt:DHCP>")
    );
    assert_eq!(
        gateway.body(),
        "<tds:SetNetworkDefaultGateway><tds:IPv4Address>10.40.8.1</tds:IPv4Address></tds:SetNetworkDefaultGateway>"
    );
}

#[test]
fn a_token_carries_the_digest_and_never_the_password() {
    let at = DeviceTime::new((2000, 1, 1), (0, 0, 7)).unwrap();
    let pass = Pass::Token {
        login: &login(),
        at,
        draw: Draw::new([9; 16]),
    };
    let text = text_of(&Question::Restart, pass);
    for part in [
        "<s:Header><wsse:Security ",
        "s:mustUnderstand=\"1\"",
        "<wsse:Username>stage &amp; &lt;left&gt;</wsse:Username>",
        "#PasswordDigest\">",
        "#Base64Binary\">CQkJCQkJCQkJCQkJCQkJCQ==</wsse:Nonce>",
        "<wsu:Created>2000-01-01T00:00:07Z</wsu:Created>",
        "</s:Header><s:Body><tds:SystemReboot/></s:Body>",
    ] {
        assert!(text.contains(part), "{part} in {text}");
    }
    assert!(!text.contains("pw-7") && !text.contains("Authorization"));
}

#[test]
fn a_digest_stands_in_the_head_alone() {
    let field = "Digest realm=\"r\", nonce=\"n\", qop=\"auth\"".to_owned();
    let pass = Pass::Digest {
        login: &login(),
        challenge: Challenge::choose(&[field]).unwrap(),
        draw: Draw::new([9; 16]),
    };
    let text = text_of(&Question::Restart, pass);
    let (head, body) = text.split_once("\r\n\r\n").unwrap();
    let lines: Vec<&str> = head
        .lines()
        .filter(|line| line.starts_with("Authorization: Digest "))
        .collect();
    assert_eq!(lines.len(), 1);
    assert!(lines[0].contains("uri=\"/onvif/device_service\""));
    assert!(!text.contains("pw-7") && !body.contains("Header"));
}

proptest! {
    /// Whatever a device calls its interface and a person is called, the message stays one whole XML, and
    /// the name comes back as it was.
    #[test]
    fn names_cannot_break_a_message(name in "\\PC{1,40}", user in "\\PC{1,40}") {
        let (Some(name), Some(login)) = (Token::new(&name), Login::new(user, Secret::new(String::new()))) else {
            return Ok(());
        };
        let question = Question::SetInterface(name.clone(), Setting::Dhcp);
        let pass = Pass::Token {
            login: &login,
            at: DeviceTime::new((2026, 1, 1), (0, 0, 0)).unwrap(),
            draw: Draw::new([1; 16]),
        };
        let text = text_of(&question, pass);
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        let length = format!("Content-Length: {}\r\n", body.len());
        prop_assert!(head.contains(&length));
        let node = crate::onvif::tree::body(body.as_bytes()).unwrap();
        prop_assert_eq!(node.child("InterfaceToken").unwrap().text(), name.as_str().trim());
    }
}
