//! Answers as devices send them. The forms follow the schema of ONVIF Core Specification; prefixes, order and
//! lacks are those that devices are known for (common practice, no source).

use proptest::prelude::*;
use vocab::Mac;

use super::super::*;
use super::*;

const NS: &str = "xmlns:SOAP-ENV=\"http://www.w3.org/2003/05/soap-envelope\" \
    xmlns:tds=\"http://www.onvif.org/ver10/device/wsdl\" xmlns:tt=\"http://www.onvif.org/ver10/schema\" \
    xmlns:ter=\"http://www.onvif.org/ver10/error\"";

pub(super) fn answer(status: u16, fields: &str, body: &str) -> Answer {
    let text = format!(
        "HTTP/1.1 {status} Some\r\n{fields}Content-Length: {}\r\n\r\n{body}",
        body.len()
    );
    Ear::new().feed(text.as_bytes()).unwrap().unwrap()
}

fn soap(inner: &str) -> Answer {
    answer(200, "", &envelope(inner))
}

fn envelope(inner: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\r\n<SOAP-ENV:Envelope {NS}><SOAP-ENV:Header/>\
         <SOAP-ENV:Body>{inner}</SOAP-ENV:Body></SOAP-ENV:Envelope>\r\n"
    )
}

fn fault(codes: &[&str], words: &str) -> String {
    let subs = codes.iter().rev().fold(String::new(), |inner, code| {
        format!("<SOAP-ENV:Subcode><SOAP-ENV:Value>{code}</SOAP-ENV:Value>{inner}</SOAP-ENV:Subcode>")
    });
    envelope(&format!(
        "<SOAP-ENV:Fault><SOAP-ENV:Code><SOAP-ENV:Value>SOAP-ENV:Sender</SOAP-ENV:Value>{subs}</SOAP-ENV:Code>\
         <SOAP-ENV:Reason><SOAP-ENV:Text xml:lang=\"en\">{words}</SOAP-ENV:Text></SOAP-ENV:Reason></SOAP-ENV:Fault>"
    ))
}

#[test]
fn an_answer_ends_by_its_length_its_last_chunk_or_the_connection() {
    let body = envelope("<tds:SystemRebootResponse/>");
    let note = "HTTP/1.1 100 Continue\r\n\r\n";
    let (half, rest) = body.split_at(50);
    for (whole, closes) in [
        (
            format!(
                "{note}HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}",
                body.len()
            ),
            false,
        ),
        (
            format!(
                "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n32\r\n{half}\r\n{:x}\r\n{rest}\r\n0\r\n\r\n",
                rest.len()
            ),
            false,
        ),
        (format!("{note}{note}HTTP/1.0 200 OK\r\n\r\n{body}"), true),
    ] {
        // In pieces of one byte and of all.
        for size in [1, 7, whole.len()] {
            let mut ear = Ear::new();
            let heard = whole.as_bytes().chunks(size).find_map(|piece| ear.feed(piece));
            assert_eq!(heard.is_none(), closes, "{whole}");
            let answer = heard.unwrap_or_else(|| ear.end()).unwrap();
            assert_eq!(read_restart(&answer), Ok(vocab::Text::default()));
        }
        let cut = &whole.as_bytes()[..whole.len() - 20];
        let mut ear = Ear::new();
        assert!(ear.feed(cut).is_none());
        let answer = ear.end().and_then(|answer| read_restart(&answer));
        let wanted = if closes { Refusal::NotSoap } else { Refusal::Cut };
        assert_eq!(answer, Err(wanted));
    }
}

#[test]
fn what_is_too_long_or_not_http_is_refused_at_once() {
    let mut ear = Ear::new();
    assert!(
        ear.feed(b"HTTP/1.1 200 OK\r\nContent-Length: 99999999\r\n\r\n")
            .is_none()
    );
    let piece = [b'a'; 1_400];
    let heard = (0..100).find_map(|n| ear.feed(&piece).map(|heard| (n, heard)));
    assert_eq!(heard, Some((46, Err(Refusal::TooLong))));
    assert_eq!(ear.feed(&piece), Some(Err(Refusal::TooLong)));
    assert_eq!(
        Ear::new().feed(b"RTSP/1.0 200 OK\r\n\r\n"),
        Some(Err(Refusal::NotHttp))
    );
    let endless = "X: y\r\n".repeat(2_000);
    let endless = format!("HTTP/1.1 200 OK\r\n{endless}");
    assert_eq!(Ear::new().feed(endless.as_bytes()), Some(Err(Refusal::TooLong)));
    assert_eq!(Ear::new().end(), Err(Refusal::Cut));
}

#[test]
fn a_clock_is_read_however_wrong_it_is() {
    let clock = |date: &str| {
        soap(&format!(
            "<tds:GetSystemDateAndTimeResponse><tds:SystemDateAndTime><tt:DateTimeType>Manual</tt:DateTimeType>\
             <tt:DaylightSavings>false</tt:DaylightSavings><tt:TimeZone><tt:TZ>UTC0</tt:TZ></tt:TimeZone>{date}\
             </tds:SystemDateAndTime></tds:GetSystemDateAndTimeResponse>"
        ))
    };
    let utc = |second: &str| {
        format!(
            "<tt:UTCDateTime><tt:Time><tt:Hour>23</tt:Hour><tt:Minute>59</tt:Minute><tt:Second>{second}</tt:Second>\
             </tt:Time><tt:Date><tt:Year>1999</tt:Year><tt:Month>12</tt:Month><tt:Day>31</tt:Day></tt:Date></tt:UTCDateTime>"
        )
    };
    for second in ["58", "058", " 58\n"] {
        let read = read_clock(&clock(&utc(second))).unwrap();
        assert_eq!(
            read.after(core::time::Duration::from_millis(2_900)).stamp(),
            "2000-01-01T00:00:00Z"
        );
    }
    assert_eq!(
        read_clock(&clock(&utc("60"))).unwrap().stamp(),
        "1999-12-31T23:59:59Z"
    );
    let far = read_clock(&clock(&utc("0"))).unwrap();
    assert!(far.after(core::time::Duration::MAX).stamp().starts_with("9999-"));
    for none in ["", &utc("61"), &utc("-1"), &utc(""), &utc("99999999999")] {
        assert_eq!(
            read_clock(&clock(none)),
            Err(Refusal::Missing("UTCDateTime")),
            "{none}"
        );
    }
}

const TWO: &str = "<tds:GetNetworkInterfacesResponse>\
    <tds:NetworkInterfaces token=\"eth&amp;0\"><tt:Enabled>true</tt:Enabled>\
    <tt:Info><tt:Name>eth0</tt:Name><tt:HwAddress>02-52-43-00-06-9F</tt:HwAddress><tt:MTU>1500</tt:MTU></tt:Info>\
    <tt:IPv4><tt:Enabled>true</tt:Enabled><tt:Config>\
    <tt:Manual><tt:Address>192.168.0.20</tt:Address><tt:PrefixLength>24</tt:PrefixLength></tt:Manual>\
    <tt:LinkLocal><tt:Address>169.254.7.9</tt:Address><tt:PrefixLength>16</tt:PrefixLength></tt:LinkLocal>\
    <tt:FromDHCP><tt:Address>0.0.0.0</tt:Address><tt:PrefixLength>0</tt:PrefixLength></tt:FromDHCP>\
    <tt:DHCP>false</tt:DHCP></tt:Config></tt:IPv4></tds:NetworkInterfaces>\
    <tds:NetworkInterfaces token=\"wlan0\"><tt:Enabled>false</tt:Enabled>\
    <tt:Info><tt:HwAddress>02:52:43:00:06:a0</tt:HwAddress></tt:Info>\
    <tt:IPv4><tt:Enabled>true</tt:Enabled><tt:Config>\
    <tt:Manual><tt:Address>192.168.0.20</tt:Address><tt:PrefixLength>33</tt:PrefixLength></tt:Manual>\
    <tt:FromDHCP><tt:Address>10.40.6.9</tt:Address><tt:PrefixLength>16</tt:PrefixLength></tt:FromDHCP>\
    <tt:DHCP>1</tt:DHCP></tt:Config></tt:IPv4></tds:NetworkInterfaces>\
    </tds:GetNetworkInterfacesResponse>";

#[test]
fn interfaces_are_read_and_the_one_on_the_wire_is_chosen() {
    let mac = Mac::new([0x02, 0x52, 0x43, 0x00, 0x06, 0x9f]);
    let all = read_interfaces(&soap(TWO)).unwrap();
    let one = choose(&all, mac).unwrap();
    assert_eq!(one.token.as_str(), "eth&0");
    let net = |text: &str| Some(text.parse().unwrap());
    assert_eq!(
        (one.own(), one.leased, one.dhcp),
        (net("192.168.0.20/24"), None, false)
    );
    assert_eq!(one.link_local, net("169.254.7.9/16"));
    let [_, other] = all.as_slice() else { panic!("two") };
    assert_eq!(
        (other.own(), other.dhcp, other.manual.len()),
        (net("10.40.6.9/16"), true, 0)
    );
    assert_eq!(
        choose(&all, Mac::new([2, 0, 0, 0, 0, 1])),
        Err(NoChoice::NotThere)
    );
    let twice = TWO.replace("06:a0", "06:9f");
    let twice = read_interfaces(&soap(&twice)).unwrap();
    assert_eq!(choose(&twice, mac), Err(NoChoice::Several));
}

#[test]
fn a_device_may_leave_out_nearly_all_of_an_interface() {
    let bare = "<GetNetworkInterfacesResponse xmlns=\"http://www.onvif.org/ver10/device/wsdl\">\
        <NetworkInterfaces token=\"1\"/><NetworkInterfaces/><NetworkInterfaces token=\"\"/>\
        <NetworkInterfaces token=\"a&#10;b\"/></GetNetworkInterfacesResponse>";
    let all = read_interfaces(&soap(bare)).unwrap();
    assert_eq!(all.len(), 1);
    let mac = Mac::new([2, 0, 0, 0, 0, 1]);
    let only = choose(&all, mac).unwrap();
    assert_eq!((only.own(), only.mac, only.dhcp), (None, None, false));
    let none = "<tds:GetNetworkInterfacesResponse/>";
    assert_eq!(
        read_interfaces(&soap(none)),
        Err(Refusal::Missing("its network interfaces"))
    );
    let foreign = "<tds:GetNetworkInterfacesResponse><x:NetworkInterfaces xmlns:x='urn:x' token='1'/></tds:GetNetworkInterfacesResponse>";
    assert!(read_interfaces(&soap(foreign)).is_err());
}

#[test]
fn gateways_and_plain_words_are_read() {
    let gateways = |inner: &str| {
        read_gateways(&soap(&format!(
            "<tds:GetNetworkDefaultGatewayResponse>{inner}</tds:GetNetworkDefaultGatewayResponse>"
        )))
    };
    let full = "<tds:NetworkGateway><tt:IPv4Address>0.0.0.0</tt:IPv4Address><tt:IPv4Address>10.40.8.1</tt:IPv4Address>\
        <tt:IPv6Address>fe80::1</tt:IPv6Address></tds:NetworkGateway>";
    assert_eq!(gateways(full), Ok(vec!["10.40.8.1".parse().unwrap()]));
    assert_eq!(gateways("<tds:NetworkGateway/>"), Ok(Vec::new()));
    assert_eq!(gateways(""), Ok(Vec::new()));

    let set = |inner: &str| {
        read_needs_restart(&soap(&format!(
            "<tds:SetNetworkInterfacesResponse>{inner}</tds:SetNetworkInterfacesResponse>"
        )))
    };
    assert_eq!(set("<tds:RebootNeeded>false</tds:RebootNeeded>"), Ok(false));
    assert_eq!(set("<tds:RebootNeeded> TRUE </tds:RebootNeeded>"), Ok(true));
    assert_eq!(set(""), Ok(true));
    assert_eq!(
        read_gateway_set(&soap("<tds:SetNetworkDefaultGatewayResponse/>")),
        Ok(())
    );
    let message = soap(
        "<tds:SystemRebootResponse><tds:Message><![CDATA[Back in <90> s]]>\u{9b}&#x1b;</tds:Message></tds:SystemRebootResponse>",
    );
    assert_eq!(read_restart(&message).unwrap().as_str(), "Back in <90> s");
    assert_eq!(
        read_gateway_set(&message),
        Err(Refusal::Missing("SetNetworkDefaultGatewayResponse"))
    );
}

#[test]
fn faults_of_both_envelopes_say_what_is_wrong() {
    let refused = |answer: &Answer| read_needs_restart(answer).unwrap_err();
    for (codes, wanted) in [
        (&["ter:NotAuthorized"][..], Refusal::NotAuthorized),
        (&["wsse:FailedAuthentication"], Refusal::NotAuthorized),
        (&["ter:ActionNotSupported"], Refusal::NotOffered),
        (
            &["ter:ActionNotSupported", "ter:OptionalActionNotImplemented"],
            Refusal::NotOffered,
        ),
    ] {
        assert_eq!(refused(&answer(400, "", &fault(codes, "No"))), wanted);
        // A fault counts whatever its status is.
        assert_eq!(refused(&answer(200, "", &fault(codes, "No"))), wanted);
    }
    let wrong = |code: &str, words: &str| match refused(&answer(
        500,
        "",
        &fault(&["ter:InvalidArgVal", code], words),
    )) {
        Refusal::Fault(fault) => (fault.wrong, fault.text.as_str().to_owned()),
        other => panic!("{other}"),
    };
    let said = |text: &str| text.to_owned();
    assert_eq!(
        wrong("ter:InvalidNetworkInterface", "No &lt;eth9>\u{1b}[2J"),
        (Wrong::Interface, said("No <eth9>[2J"))
    );
    assert_eq!(
        wrong("x:InvalidIPv4Address", ""),
        (Wrong::Address, said("InvalidIPv4Address"))
    );
    assert_eq!(wrong("InvalidGatewayAddress", "a"), (Wrong::Gateway, said("a")));
    let (other, text) = wrong("ter:Odd", &"long ".repeat(100));
    assert_eq!((other, text.len()), (Wrong::Other, 119));

    let old = |code: &str, words: &str| {
        answer(
            500,
            "",
            &format!(
                "<E:Envelope xmlns:E='http://schemas.xmlsoap.org/soap/envelope/'><E:Body><E:Fault>\
                 <faultcode>{code}</faultcode><faultstring>{words}</faultstring></E:Fault></E:Body></E:Envelope>"
            ),
        )
    };
    assert_eq!(refused(&old("ter:NotAuthorized", "x")), Refusal::NotAuthorized);
    assert_eq!(
        refused(&old("E:Client", "Sender not Authorized")),
        Refusal::NotAuthorized
    );
    assert_eq!(
        refused(&old("E:Server", "Out of paint")).to_string(),
        "the device refuses: \"Out of paint\""
    );
}

#[test]
fn what_is_no_answer_of_the_service_is_told_by_its_status() {
    let refused = |status, body: &str| read_restart(&answer(status, "", body)).unwrap_err();
    let page = "<!DOCTYPE html><html><body>Welcome</body></html>";
    assert_eq!(refused(200, page), Refusal::NotSoap);
    assert_eq!(refused(200, ""), Refusal::NotSoap);
    assert_eq!(refused(401, page), Refusal::NotAuthorized);
    assert_eq!(refused(403, page), Refusal::NotAuthorized);
    assert_eq!(refused(404, page), Refusal::NoService);
    assert_eq!(refused(501, ""), Refusal::NotOffered);
    assert_eq!(refused(302, ""), Refusal::Status(302));
    let deep = envelope(&format!("{}{}", "<a>".repeat(40), "</a>".repeat(40)));
    assert_eq!(refused(200, &deep), Refusal::TooLong);
    let many = envelope(&"<a/>".repeat(5_000));
    assert_eq!(refused(200, &many), Refusal::TooLong);
    let bomb = format!(
        "<!DOCTYPE l [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;\">]>{}",
        envelope("<tds:SystemRebootResponse>&b;</tds:SystemRebootResponse>")
    );
    assert_eq!(refused(200, &bomb), Refusal::NotSoap);
    let unknown = envelope("<tds:SystemRebootResponse>&b;</tds:SystemRebootResponse>");
    assert_eq!(refused(200, &unknown), Refusal::NotSoap);
    let headless = unknown
        .replace("SOAP-ENV:Body", "SOAP-ENV:Tail")
        .replace("&b;", "");
    assert_eq!(refused(200, &headless), Refusal::NotSoap);
}

#[test]
fn what_a_device_demands_is_told_by_its_first_answer() {
    let digest = "WWW-Authenticate: Digest realm=\"device\", nonce=\"5e\", qop=\"auth\"\r\n";
    let basic = "WWW-Authenticate: Basic realm=\"device\"\r\n";
    let denied = fault(&["ter:NotAuthorized"], "Sender not authorized");
    let token = |status, fields: &str, body: &str| {
        assert_eq!(
            read_demand(&answer(status, fields, body)),
            Ok(Demand::Token),
            "{status} {fields}"
        );
    };
    token(400, "", &denied);
    token(200, "", &denied);
    token(401, "", &denied);
    token(401, basic, &denied);
    token(401, "", "");
    for (fields, body) in [
        (digest.to_owned(), ""),
        (format!("{basic}{digest}"), denied.as_str()),
        (digest.to_lowercase(), &denied),
    ] {
        let demand = read_demand(&answer(401, &fields, body));
        assert!(matches!(demand, Ok(Demand::Digest(_))), "{demand:?}");
    }
    let open = read_demand(&soap(TWO)).unwrap();
    assert!(matches!(open, Demand::Nothing(all) if all.len() == 2));
    assert_eq!(
        read_demand(&answer(401, basic, "Log in first.")),
        Err(Refusal::PlainLoginOnly)
    );
    assert_eq!(
        read_demand(&answer(404, "", "Nothing here")),
        Err(Refusal::NoService)
    );
    let lacks = fault(&["ter:ActionNotSupported"], "");
    assert_eq!(read_demand(&answer(500, "", &lacks)), Err(Refusal::NotOffered));
    assert_eq!(read_demand(&answer(401, "", &lacks)), Err(Refusal::NotOffered));

    let stale = digest.replace("realm", "stale=true, realm");
    assert_eq!(read_restart(&answer(401, &stale, "")), Err(Refusal::Stale));
    assert_eq!(
        read_restart(&answer(401, digest, "")),
        Err(Refusal::NotAuthorized)
    );
}

fn read_all(answer: &Answer) {
    let _ = read_clock(answer);
    let _ = read_demand(answer);
    let _ = read_gateways(answer);
    let _ = read_needs_restart(answer);
    let _ = read_gateway_set(answer);
    if let Err(refusal) = read_restart(answer) {
        assert!(!refusal.to_string().contains(char::is_control));
    }
}

proptest! {
    #[test]
    fn no_bytes_make_a_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400), status in 100u16..999) {
        let mut ear = Ear::new();
        let _ = bytes.chunks(50).find_map(|piece| ear.feed(piece));
        let _ = ear.end();
        let text = [format!("HTTP/1.1 {status} x\r\nWWW-Authenticate: Digest ").as_bytes(), &bytes].concat();
        let mut ear = Ear::new();
        if let Ok(answer) = ear.feed(&text).unwrap_or_else(|| ear.end()) {
            read_all(&answer);
        }
    }

    #[test]
    fn no_damage_makes_a_reader_panic(
        which in 0usize..3,
        damage in proptest::collection::vec((any::<usize>(), any::<u8>()), 0..6),
        cut in any::<usize>(),
    ) {
        let bodies = [envelope(TWO), fault(&["ter:NotAuthorized"], "No"), envelope("<tds:SystemRebootResponse/>")];
        let mut body = bodies[which].clone().into_bytes();
        for (at, value) in damage {
            let at = at % body.len();
            body[at] = value;
        }
        body.truncate(cut % (body.len() + 1));
        read_all(&Answer { status: 200, challenges: Vec::new(), body });
    }

    #[test]
    fn no_challenge_makes_a_reader_panic(field in "[a-zA-Z0-9 =,\"\\\\\t\u{80}-\u{ff}]{0,120}") {
        for field in [field.clone(), format!("Digest realm=\"r\", nonce=\"n\", {field}"), format!("Digest {field}")] {
            read_all(&Answer { status: 401, challenges: vec![field], body: Vec::new() });
        }
    }
}
