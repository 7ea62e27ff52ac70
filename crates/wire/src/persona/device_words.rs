//! What a device with ONVIF's network service says, as bytes.

use core::net::Ipv4Addr;

use vocab::{Ipv4Net, Mac};

use super::device::{Tells, View, Wants};
use crate::onvif::{DeviceTime, MAX_ANSWER};

/// What it calls its interface.
pub(super) const TOKEN: &str = "eth0";
/// Hardware that it does not have on the wire.
const OTHER: Mac = Mac::new([0x02, 0x52, 0x43, 0xee, 0x00, 0x02]);

/// The challenge with this number.
pub(super) fn challenge(wants: Wants, number: u32) -> String {
    let algorithm = match wants {
        Wants::DigestSha256 => "SHA-256",
        _ => "MD5",
    };
    format!(
        "Digest realm=\"device\", qop=\"auth\", algorithm={algorithm}, nonce=\"{number:08x}c0ffee\", opaque=\"5\""
    )
}

fn http(status: &str, fields: &str, kind: &str, body: &str) -> Vec<u8> {
    format!(
        "HTTP/1.1 {status}\r\nServer: venue\r\n{fields}Content-Type: {kind}\r\nContent-Length: {}\r\n\
         Connection: close\r\n\r\n{body}",
        body.len()
    )
    .into_bytes()
}

fn soap(status: &str, fields: &str, inner: &str) -> Vec<u8> {
    let body = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <env:Envelope xmlns:env=\"http://www.w3.org/2003/05/soap-envelope\" \
         xmlns:tds=\"http://www.onvif.org/ver10/device/wsdl\" xmlns:tt=\"http://www.onvif.org/ver10/schema\" \
         xmlns:ter=\"http://www.onvif.org/ver10/error\"><env:Body>{inner}</env:Body></env:Envelope>\n"
    );
    http(status, fields, "application/soap+xml; charset=utf-8", &body)
}

/// An answer with this in its body.
pub(super) fn answer(inner: &str) -> Vec<u8> {
    soap("200 OK", "", inner)
}

/// A fault with a code of ONVIF's.
pub(super) fn fault(status: u16, code: &str, fields: &str) -> Vec<u8> {
    let inner = format!(
        "<env:Fault><env:Code><env:Value>env:Sender</env:Value><env:Subcode><env:Value>ter:{code}</env:Value>\
         </env:Subcode></env:Code><env:Reason><env:Text xml:lang=\"en\">Refused: {code}</env:Text></env:Reason></env:Fault>"
    );
    soap(&format!("{status} Refused"), fields, &inner)
}

/// It wants a login beside the message.
pub(super) fn denied(challenge: &str) -> Vec<u8> {
    fault(
        401,
        "NotAuthorized",
        &format!("WWW-Authenticate: {challenge}\r\n"),
    )
}

/// More than anybody would read.
pub(super) fn giant() -> Vec<u8> {
    answer(&" ".repeat(4 * MAX_ANSWER))
}

/// No answer of the service at all.
pub(super) fn page() -> Vec<u8> {
    let body = "<!DOCTYPE html><html><title>Welcome</title><body>A simulated device.</body></html>\n";
    http("200 OK", "", "text/html", body)
}

/// What its clock shows.
pub(super) fn clock(now: DeviceTime) -> String {
    let ([year, month, day], [hour, minute, second]) = now.parts();
    format!(
        "<tds:GetSystemDateAndTimeResponse><tds:SystemDateAndTime><tt:DateTimeType>Manual</tt:DateTimeType>\
         <tt:DaylightSavings>false</tt:DaylightSavings><tt:UTCDateTime>\
         <tt:Time><tt:Hour>{hour}</tt:Hour><tt:Minute>{minute}</tt:Minute><tt:Second>{second}</tt:Second></tt:Time>\
         <tt:Date><tt:Year>{year}</tt:Year><tt:Month>{month}</tt:Month><tt:Day>{day}</tt:Day></tt:Date></tt:UTCDateTime>\
         </tds:SystemDateAndTime></tds:GetSystemDateAndTimeResponse>"
    )
}

/// Its interfaces.
pub(super) fn interfaces(tells: Tells, view: &View) -> String {
    let own = |token| interface(token, Some(view.mac), view.net, view.dhcp);
    let all = match tells {
        Tells::Own => own(TOKEN),
        Tells::Two => own(TOKEN) + &interface("wlan0", Some(OTHER), None, true),
        Tells::Nameless => interface(TOKEN, None, view.net, view.dhcp),
        Tells::Foreign => interface(TOKEN, Some(OTHER), view.net, view.dhcp),
        Tells::Twins => own(TOKEN) + &own("eth1"),
    };
    format!("<tds:GetNetworkInterfacesResponse>{all}</tds:GetNetworkInterfacesResponse>")
}

fn interface(token: &str, mac: Option<Mac>, net: Option<Ipv4Net>, dhcp: bool) -> String {
    let info = mac.map_or_else(String::new, |mac| {
        format!(
            "<tt:Info><tt:Name>{token}</tt:Name><tt:HwAddress>{mac}</tt:HwAddress><tt:MTU>1500</tt:MTU></tt:Info>"
        )
    });
    let element = if dhcp { "FromDHCP" } else { "Manual" };
    let net = net.map_or_else(String::new, |net| {
        format!(
            "<tt:{element}><tt:Address>{}</tt:Address><tt:PrefixLength>{}</tt:PrefixLength></tt:{element}>",
            net.addr(),
            net.prefix_len()
        )
    });
    format!(
        "<tds:NetworkInterfaces token=\"{token}\"><tt:Enabled>true</tt:Enabled>{info}<tt:IPv4><tt:Enabled>true</tt:Enabled>\
         <tt:Config>{net}<tt:DHCP>{dhcp}</tt:DHCP></tt:Config></tt:IPv4></tds:NetworkInterfaces>"
    )
}

/// Its gateway.
pub(super) fn gateway(gateway: Option<Ipv4Addr>) -> String {
    let inner = gateway.map_or_else(String::new, |address| {
        format!("<tt:IPv4Address>{address}</tt:IPv4Address>")
    });
    format!(
        "<tds:GetNetworkDefaultGatewayResponse><tds:NetworkGateway>{inner}</tds:NetworkGateway>\
         </tds:GetNetworkDefaultGatewayResponse>"
    )
}

/// It took a new address.
pub(super) fn needs_restart(needs: bool) -> String {
    format!(
        "<tds:SetNetworkInterfacesResponse><tds:RebootNeeded>{needs}</tds:RebootNeeded>\
         </tds:SetNetworkInterfacesResponse>"
    )
}

/// It took a new gateway.
pub(super) fn gateway_set() -> String {
    "<tds:SetNetworkDefaultGatewayResponse/>".to_owned()
}

/// It starts again.
pub(super) fn restarting() -> String {
    "<tds:SystemRebootResponse><tds:Message>Back in a minute</tds:Message></tds:SystemRebootResponse>"
        .to_owned()
}
