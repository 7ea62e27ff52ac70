//! Messages written after the standards' own examples, in both forms, and what none may do.

use proptest::prelude::*;

use super::*;
use crate::announce;

const MAC: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);

/// The shape of the ONVIF Core Specification's Hello, with our scenario in it.
const HELLO: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<SOAP-ENV:Envelope xmlns:SOAP-ENV="http://www.w3.org/2003/05/soap-envelope"
 xmlns:wsa="http://schemas.xmlsoap.org/ws/2004/08/addressing"
 xmlns:wsdd="http://schemas.xmlsoap.org/ws/2005/04/discovery"
 xmlns:dn="http://www.onvif.org/ver10/network/wsdl">
 <SOAP-ENV:Header>
  <wsa:MessageID>uuid:1</wsa:MessageID>
  <wsa:To SOAP-ENV:mustUnderstand="true">urn:schemas-xmlsoap-org:ws:2005:04:discovery</wsa:To>
  <wsa:Action>http://schemas.xmlsoap.org/ws/2005/04/discovery/Hello</wsa:Action>
  <wsdd:AppSequence InstanceId="1" MessageNumber="1"/>
 </SOAP-ENV:Header>
 <SOAP-ENV:Body><wsdd:Hello>
  <wsa:EndpointReference><wsa:Address>urn:uuid:2</wsa:Address></wsa:EndpointReference>
  <wsdd:Types>dn:NetworkVideoTransmitter</wsdd:Types>
  <wsdd:Scopes>onvif://www.onvif.org/type/ptz onvif://www.onvif.org/name/Organ%20loft%1b%5B2J
   onvif://www.onvif.org/hardware/PTZ&#45;20&amp;more onvif://www.onvif.org/location/gallery</wsdd:Scopes>
  <wsdd:XAddrs>http://10.40.8.21/onvif/device_service</wsdd:XAddrs>
  <wsdd:MetadataVersion>1</wsdd:MetadataVersion>
 </wsdd:Hello></SOAP-ENV:Body>
</SOAP-ENV:Envelope>"#;

/// The shape of the `ProbeMatches` example of OASIS WS-Discovery 1.1, with a default namespace.
const MATCHES: &str = r#"<s:Envelope xmlns:a="http://www.w3.org/2005/08/addressing"
 xmlns="http://docs.oasis-open.org/ws-dd/ns/discovery/2009/01"
 xmlns:s="http://www.w3.org/2003/05/soap-envelope">
<s:Header><a:RelatesTo>urn:uuid:0</a:RelatesTo><a:MessageID>urn:uuid:9</a:MessageID></s:Header>
<s:Body><ProbeMatches><ProbeMatch>
<a:EndpointReference><a:Address>urn:uuid:3</a:Address></a:EndpointReference>
<Scopes>ONVIF://www.onvif.org/Name/West%20door onvif://www.onvif.org/MAC/02-52-43-00-00-22</Scopes>
</ProbeMatch></ProbeMatches></s:Body></s:Envelope>"#;

fn read(text: &str) -> Option<Message> {
    Message::parse(text.as_bytes()).unwrap()
}

fn says(message: &Message, mac: Mac) -> Vec<String> {
    message.names_of(mac).iter().map(ToString::to_string).collect()
}

#[test]
fn a_hello_of_2005_names_the_device() {
    let message = read(HELLO).unwrap();
    assert_eq!((message.version, message.kind), (Version::April2005, Kind::Hello));
    assert_eq!(message.id.as_str(), "uuid:1");
    assert_eq!(
        says(&message, MAC),
        [
            "Organ loft[2J (WS-Discovery)",
            "PTZ-20&more (hardware)",
            "gallery (location)"
        ]
    );
}

#[test]
fn matches_of_oasis_name_only_the_hardware_they_tell_of() {
    let message = read(MATCHES).unwrap();
    assert_eq!(
        (message.version, message.kind),
        (Version::Oasis11, Kind::ProbeMatches)
    );
    let own = Mac::new([2, 0x52, 0x43, 0, 0, 0x22]);
    assert_eq!(says(&message, own), ["West door (WS-Discovery)"]);
    assert!(says(&message, MAC).is_empty(), "a proxy answers for others");
}

#[test]
fn the_place_of_a_service_counts_only_where_the_sender_itself_is() {
    let from = Ipv4Addr::new(10, 40, 8, 21);
    let hello = |types: &str, places: &str| {
        let text = format!(
            "<e:Envelope xmlns:e='{SOAP}' xmlns:d='{}'><e:Body><d:Hello><d:Types>{types}</d:Types>\
             <d:XAddrs>{places}</d:XAddrs></d:Hello></e:Body></e:Envelope>",
            Version::April2005.namespace()
        );
        read(&text).unwrap().onvif_of(MAC, from)
    };
    let video = "dn:NetworkVideoTransmitter tds:Device";
    for (places, port) in [
        ("http://10.40.8.21/onvif/device_service", Some(80)),
        ("http://10.40.8.21:2000/onvif/device_service", Some(2000)),
        (
            "http://[fe80::1]/x http://10.40.8.99:8899/x HTTP://10.40.8.21:8080",
            Some(8080),
        ),
        ("http://10.40.8.99:2000/onvif/device_service", None),
        (
            "https://10.40.8.21:443/x http://camera.example/x http://10.40.8.21:0/ http://10.40.8.21:70000/",
            None,
        ),
        ("http://10.40.8.21@10.40.8.99/ http:// h é://////", None),
        ("", None),
    ] {
        assert_eq!(hello(video, places), (true, port), "{places}");
    }
    let printer = hello("wsdp:Device pri:PrintDeviceType", "http://10.40.8.21:2000/");
    assert_eq!(printer, (false, None), "no device of ONVIF");
    let message = read(MATCHES).unwrap();
    assert_eq!(
        message.onvif_of(MAC, from),
        (false, None),
        "a proxy answers for others"
    );
}

#[test]
fn a_device_says_at_which_paths_its_own_service_is() {
    let from = Ipv4Addr::new(10, 40, 8, 21);
    let text = format!(
        "<e:Envelope xmlns:e='{SOAP}' xmlns:d='{}'><e:Body><d:Hello><d:Types>dn:NetworkVideoTransmitter</d:Types>\
         <d:XAddrs>http://10.40.8.99/other http://10.40.8.21:8080/camera/one http://10.40.8.21 \
         http://10.40.8.21/a\"b</d:XAddrs></d:Hello></e:Body></e:Envelope>",
        Version::April2005.namespace()
    );
    let all = read(&text).unwrap().services_of(MAC, from);
    let all: Vec<String> = all
        .iter()
        .map(|p| format!("{}:{}{}", p.host, p.port, p.path.as_str()))
        .collect();
    assert_eq!(
        all,
        [
            "10.40.8.21:8080/camera/one",
            "10.40.8.21:80/onvif/device_service",
            "10.40.8.21:80/onvif/device_service"
        ]
    );
    let message = read(MATCHES).unwrap();
    assert!(
        message.services_of(MAC, from).is_empty(),
        "a proxy answers for others"
    );
}

#[test]
fn two_devices_in_one_message_name_nobody() {
    let one = "<ProbeMatch><Scopes>onvif://www.onvif.org/name/x</Scopes></ProbeMatch>";
    let text = MATCHES.replace("</ProbeMatches>", &format!("{one}</ProbeMatches>"));
    let message = read(&text).unwrap();
    assert_eq!(message.devices.len(), 2);
    assert!(message.names_of(MAC).is_empty());
}

#[test]
fn other_namespaces_and_places_are_passed_over() {
    assert_eq!(
        read(&HELLO.replace("2005/04/discovery\"", "2005/04/other\"")),
        None
    );
    let moved = HELLO
        .replace("<wsdd:Hello>", "<wsdd:Hello><x>")
        .replace("</wsdd:Hello>", "</x></wsdd:Hello>");
    assert!(read(&moved).unwrap().names_of(MAC).is_empty());
    let resolve = MATCHES.replace("ProbeMatch", "ResolveMatch");
    assert_eq!(read(&resolve), None);
}

#[test]
fn our_probe_is_one_in_both_forms() {
    for (version, id) in [(Version::April2005, 0), (Version::Oasis11, u128::MAX)] {
        let bytes = probe(version, id);
        let message = Message::parse(&bytes).unwrap().unwrap();
        assert_eq!((message.version, message.kind), (version, Kind::Probe));
        assert!(message.devices.is_empty());
        // RFC 9562 section 5.4: the version is the 13th digit, the variant the 17th.
        let digits: Vec<char> = message
            .id
            .as_str()
            .chars()
            .skip("urn:uuid:".len())
            .filter(|c| *c != '-')
            .collect();
        assert_eq!((digits.len(), digits[12]), (32, '4'));
        assert!(['8', '9', 'a', 'b'].contains(&digits[16]));
    }
}

#[test]
fn what_devices_send_is_read_back() {
    let device = announce::Device {
        name: "Empore <links> & 100 %",
        address: Ipv4Addr::new(10, 40, 8, 21).into(),
        services: &[],
        onvif: 80,
    };
    for version in Version::ALL {
        let hello = Message::parse(&device.hello(version, 5)).unwrap().unwrap();
        assert_eq!(hello.kind, Kind::Hello);
        let matches = Message::parse(&device.probe_matches(version, 6, "urn:uuid:<&>"))
            .unwrap()
            .unwrap();
        assert_eq!((matches.version, matches.kind), (version, Kind::ProbeMatches));
        for message in [hello, matches] {
            assert_eq!(says(&message, MAC), ["Empore <links> & 100 % (WS-Discovery)"]);
        }
    }
}

#[test]
fn document_types_entities_and_other_mischief_are_refused() {
    let entity = HELLO.replace(
        "<SOAP-ENV:Envelope",
        "<!DOCTYPE x [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><SOAP-ENV:Envelope",
    );
    let unknown = HELLO.replace("&amp;", "&b;");
    let cut = &HELLO[..HELLO.len() - 20];
    let crossed = HELLO.replace("</wsdd:Hello>", "</wsdd:Bye>");
    let unbound = HELLO.replace("xmlns:SOAP-ENV", "xmlns:other");
    for (text, wanted) in [
        (entity.as_str(), Reason::Value),
        (unknown.as_str(), Reason::Value),
        (cut, Reason::Value),
        (crossed.as_str(), Reason::Value),
        (unbound.as_str(), Reason::Value),
        ("", Reason::Short),
        ("<html/>", Reason::Value),
        ("not xml", Reason::Short),
    ] {
        let told = Message::parse(text.as_bytes()).map_err(|e| e.reason);
        assert!(told.is_err(), "{text:.60}: {told:?}");
        assert!(told == Err(wanted) || text == cut, "{text:.60}: {told:?}");
    }
    let deep = format!(
        "{}{}",
        HELLO.split("<wsdd:Hello>").next().unwrap_or_default(),
        "<x>".repeat(MAX_DEPTH)
    );
    assert_eq!(
        Message::parse(deep.as_bytes()).map_err(|e| e.reason),
        Err(Reason::Long)
    );
}

#[test]
fn ten_megabytes_of_scopes_are_refused_unread() {
    let many = "onvif://www.onvif.org/name/x ".repeat(350_000);
    let text = HELLO.replace("onvif://www.onvif.org/type/ptz", &many);
    assert!(text.len() > 10_000_000);
    assert_eq!(
        Message::parse(text.as_bytes()).map_err(|e| e.reason),
        Err(Reason::Long)
    );
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = Message::parse(&bytes);
    }

    #[test]
    fn no_change_to_a_message_makes_it_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), prop::sample::select(b"<>&;/\"' !?[]a:%".to_vec())), 0..6),
    ) {
        let mut bytes = HELLO.as_bytes().to_vec();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if let Ok(Some(message)) = Message::parse(&bytes) {
            prop_assert!(message.devices.len() <= MAX_KEPT);
        }
    }
}
