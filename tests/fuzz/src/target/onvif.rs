//! ONVIF's device service: what a device answers, and what we then send it.

use core::net::Ipv4Addr;

use wire::onvif::{self, Challenge, Demand, Draw, Login, Pass, Place, Question, Refusal, Secret, Setting};

use crate::{Bytes, Target, must_be_clean};

/// How long a piece is, then an answer.
pub(super) const ONVIF: Target = Target {
    name: "onvif",
    longest: 16_000,
    short: 5_000,
    run: |data| {
        let mut bytes = Bytes::new(data);
        let size = usize::from(bytes.u8()) + 1;
        let heard = bytes.rest();
        let mut ear = onvif::Ear::new();
        let mut answer = None;
        for piece in heard.chunks(size) {
            answer = onvif::Ear::feed(&mut ear, piece);
            if answer.is_some() {
                break;
            }
        }
        match answer.unwrap_or_else(|| ear.end()) {
            Ok(answer) => read(&answer),
            Err(refusal) => said(&refusal),
        }
    },
    seeds,
};

fn read(answer: &onvif::Answer) {
    for refusal in [
        onvif::read_clock(answer).err(),
        onvif::read_gateways(answer).err(),
        onvif::read_needs_restart(answer).err(),
        onvif::read_gateway_set(answer).err(),
    ]
    .into_iter()
    .flatten()
    {
        said(&refusal);
    }
    match onvif::read_restart(answer) {
        Ok(words) => must_be_clean(words.as_str()),
        Err(refusal) => said(&refusal),
    }
    if let Ok(interfaces) = onvif::read_interfaces(answer) {
        for interface in &interfaces {
            let net = "10.40.8.21/24".parse().expect("a network");
            let question = Question::SetInterface(interface.token.clone(), Setting::Manual(net));
            request(&question, Pass::Nobody);
        }
    }
    match onvif::read_demand(answer) {
        Ok(Demand::Digest(challenge)) => digest(challenge),
        Ok(Demand::Nothing(_) | Demand::Token) => {}
        Err(refusal) => said(&refusal),
    }
}

fn said(refusal: &Refusal) {
    must_be_clean(&refusal.to_string());
}

/// What a device asks for stands in our answer, and must stay within its line.
fn digest(challenge: Challenge) {
    let login = Login::new("crew".to_owned(), Secret::new("pass".to_owned())).expect("a login");
    let pass = Pass::Digest {
        login: &login,
        challenge,
        draw: Draw::new([7; 16]),
    };
    request(&Question::Interfaces, pass);
}

fn request(question: &Question, pass: Pass<'_>) {
    let digest = usize::from(matches!(pass, Pass::Digest { .. }));
    let place = Place::usual(Ipv4Addr::new(10, 40, 8, 21), 80);
    let request = question.request(&place, pass);
    let text = String::from_utf8(request).expect("a request is text");
    let (head, body) = text.split_once("\r\n\r\n").expect("a head");
    // Request, host, agent, kind, length, connection; and the login.
    assert_eq!(head.split("\r\n").count(), 6 + digest, "{head:?}");
    head.split("\r\n").for_each(must_be_clean);
    assert!(
        head.contains(&format!("Content-Length: {}", body.len())),
        "{head:?}"
    );
    assert!(!body.contains(['\r', '\0']), "{body:?}");
}

fn seeds() -> Vec<Vec<u8>> {
    let envelope = |body: &str| {
        format!(
            "<?xml version=\"1.0\"?><s:Envelope xmlns:s=\"http://www.w3.org/2003/05/soap-envelope\" \
             xmlns:tds=\"http://www.onvif.org/ver10/device/wsdl\" xmlns:tt=\"http://www.onvif.org/ver10/schema\">\
             <s:Body>{body}</s:Body></s:Envelope>"
        )
    };
    let http = |status: &str, fields: &str, body: &str| {
        let length = body.len();
        format!(
            "HTTP/1.1 {status}\r\nContent-Type: application/soap+xml\r\n{fields}Content-Length: {length}\r\n\r\n{body}"
        )
    };
    let interfaces = "<tds:GetNetworkInterfacesResponse><tds:NetworkInterfaces token=\"eth0\"><tt:Enabled>true</tt:Enabled>\
        <tt:Info><tt:Name>eth0</tt:Name><tt:HwAddress>02:52:43:00:00:21</tt:HwAddress><tt:MTU>1500</tt:MTU></tt:Info>\
        <tt:IPv4><tt:Enabled>true</tt:Enabled><tt:Config><tt:Manual><tt:Address>10.40.8.21</tt:Address>\
        <tt:PrefixLength>24</tt:PrefixLength></tt:Manual><tt:DHCP>false</tt:DHCP></tt:Config></tt:IPv4>\
        </tds:NetworkInterfaces></tds:GetNetworkInterfacesResponse>";
    let clock = "<tds:GetSystemDateAndTimeResponse><tds:SystemDateAndTime><tt:UTCDateTime><tt:Time><tt:Hour>18</tt:Hour>\
        <tt:Minute>4</tt:Minute><tt:Second>7</tt:Second></tt:Time><tt:Date><tt:Year>2026</tt:Year><tt:Month>11</tt:Month>\
        <tt:Day>26</tt:Day></tt:Date></tt:UTCDateTime></tds:SystemDateAndTime></tds:GetSystemDateAndTimeResponse>";
    let gateway = "<tds:GetNetworkDefaultGatewayResponse><tds:NetworkGateway><tt:IPv4Address>10.40.8.1</tt:IPv4Address>\
        </tds:NetworkGateway></tds:GetNetworkDefaultGatewayResponse>";
    let fault = "<s:Fault><s:Code><s:Value>s:Sender</s:Value><s:Subcode><s:Value>ter:NotAuthorized</s:Value></s:Subcode></s:Code>\
        <s:Reason><s:Text>Sender not authorized</s:Text></s:Reason></s:Fault>";
    let set = "<tds:SetNetworkInterfacesResponse><tds:RebootNeeded>true</tds:RebootNeeded></tds:SetNetworkInterfacesResponse>";
    let again = "<tds:SystemRebootResponse><tds:Message>in 30 s</tds:Message></tds:SystemRebootResponse>";
    let login = "WWW-Authenticate: Basic realm=\"x\"\r\nWWW-Authenticate: Digest realm=\"stage box\", \
        qop=\"auth,auth-int\", algorithm=MD5-sess, nonce=\"a\\\"b\", opaque=\"c\", stale=false\r\n";
    let mut all: Vec<String> = [interfaces, clock, gateway, set, again]
        .into_iter()
        .map(|body| http("200 OK", "", &envelope(body)))
        .collect();
    all.push(http("500 Fault", "", &envelope(fault)));
    all.push(http("401 No", login, ""));
    all.push(format!("HTTP/1.1 200 OK\r\n\r\n{}", envelope(clock)));
    all.iter()
        .map(|text| [&[255], text.as_bytes()].concat())
        .collect()
}
