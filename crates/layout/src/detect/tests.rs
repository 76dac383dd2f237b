//! Detection, checked with texts of our own in the languages of the encodings, which Python's codecs
//! encoded.

use encoding_rs::Encoding;

use super::*;

/// The encoding, the bytes by Python's codec, and the text.
#[rustfmt::skip]
const TABLES: [(&str, &[u8], &str); 17] = [
    (
        "windows-1250",
        b"Ulice;Zji\x9At\xECn\xED;Pozn\xE1mka\nP\xF8\xED\xE8n\xED;pod\xE9ln\xE1 trhlina;prorostl\
        \xE9 ko\xF8eny u p\xF8\xEDpojky\nU \xD8eky;sedimenty ve dn\xEC;ulo\x9Een\xFD \x9At\xEC\
        rk, z\xFA\x9Een\xFD pr\xF9tok\n",
        "Ulice;Zjištění;Poznámka\nPříční;podélná trhlina;prorostlé kořeny u přípojky\nU Řeky;se\
        dimenty ve dně;uložený štěrk, zúžený průtok\n",
    ),
    (
        "windows-1250",
        b"Ulica;Obserwacja;Uwagi\n\xA3\xB9kowa;p\xEAkni\xEAcie pod\xB3u\xBFne;wrastaj\xB9ce korz\
        enie, cz\xEA\x9Cciowo\n\xAFwirowa;osady na dnie;przesuni\xEAte z\xB3\xB9cze, w\xB3\xB9\
        czenie nieszczelne\n",
        "Ulica;Obserwacja;Uwagi\nŁąkowa;pęknięcie podłużne;wrastające korzenie, częściowo\nŻwir\
        owa;osady na dnie;przesunięte złącze, włączenie nieszczelne\n",
    ),
    (
        "windows-1250",
        b"Utca;\xC9szlel\xE9s;Megjegyz\xE9s\nF\xF5\xFAt;hosszir\xE1ny\xFA reped\xE9s;ben\xF5tt g\
        y\xF6k\xE9rzet a bek\xF6t\xE9sn\xE9l\nErd\xF5sor;lerak\xF3d\xE1s;elt\xF6rt cs\xF5, er\
        \xF5s besziv\xE1rg\xE1s, t\xF6r\xF6tt k\xF6t\xF5elem\n",
        "Utca;Észlelés;Megjegyzés\nFőút;hosszirányú repedés;benőtt gyökérzet a bekötésnél\nErdő\
        sor;lerakódás;eltört cső, erős beszivárgás, törött kötőelem\n",
    ),
    (
        "windows-1251",
        b"\xD3\xEB\xE8\xF6\xE0;\xCD\xE0\xE1\xEB\xFE\xE4\xE5\xED\xE8\xE5;\xCF\xF0\xE8\xEC\xE5\xF7\
        \xE0\xED\xE8\xE5\n\xD0\xE5\xF7\xED\xE0\xFF;\xEF\xF0\xEE\xE4\xEE\xEB\xFC\xED\xE0\xFF \
        \xF2\xF0\xE5\xF9\xE8\xED\xE0;\xEA\xEE\xF0\xED\xE8 \xF3 \xF1\xEE\xE5\xE4\xE8\xED\xE5\
        \xED\xE8\xFF\n\xCC\xEE\xF1\xF2\xEE\xE2\xE0\xFF;\xEE\xF2\xEB\xEE\xE6\xE5\xED\xE8\xFF \
        \xED\xE0 \xE4\xED\xE5;\xF1\xEC\xE5\xF9\xB8\xED\xED\xFB\xE9 \xF1\xF2\xFB\xEA\n",
        "Улица;Наблюдение;Примечание\nРечная;продольная трещина;корни у соединения\nМостовая;от\
        ложения на дне;смещённый стык\n",
    ),
    (
        "windows-1251",
        b"\xC2\xF3\xEB\xE8\xF6\xFF;\xD1\xEF\xEE\xF1\xF2\xE5\xF0\xE5\xE6\xE5\xED\xED\xFF;\xCF\xF0\
        \xE8\xEC\xB3\xF2\xEA\xE0\n\xD0\xB3\xF7\xEA\xEE\xE2\xE0;\xEF\xEE\xE7\xE4\xEE\xE2\xE6\
        \xED\xFF \xF2\xF0\xB3\xF9\xE8\xED\xE0;\xEA\xEE\xF0\xB3\xED\xED\xFF \xE1\xB3\xEB\xFF \
        \xE7'\xBA\xE4\xED\xE0\xED\xED\xFF\n\xCC\xEE\xF1\xF2\xEE\xE2\xE0;\xE2\xB3\xE4\xEA\xEB\
        \xE0\xE4\xE5\xED\xED\xFF \xED\xE0 \xE4\xED\xB3;\xE7\xEC\xB3\xF9\xE5\xED\xE8\xE9 \xF1\
        \xF2\xE8\xEA\n",
        "Вулиця;Спостереження;Примітка\nРічкова;поздовжня тріщина;коріння біля з'єднання\nМосто\
        ва;відкладення на дні;зміщений стик\n",
    ),
    (
        "windows-1251",
        b"\xD3\xEB\xE8\xF6\xE0;\xCD\xE0\xE1\xEB\xFE\xE4\xE5\xED\xE8\xE5;\xC1\xE5\xEB\xE5\xE6\xEA\
        \xE0\n\xD0\xE5\xF7\xED\xE0;\xED\xE0\xE4\xEB\xFA\xE6\xED\xE0 \xEF\xF3\xEA\xED\xE0\xF2\
        \xE8\xED\xE0;\xEA\xEE\xF0\xE5\xED\xE8 \xEF\xF0\xE8 \xE2\xF0\xFA\xE7\xEA\xE0\xF2\xE0\n",
        "Улица;Наблюдение;Бележка\nРечна;надлъжна пукнатина;корени при връзката\n",
    ),
    (
        "windows-1253",
        b"\xCF\xE4\xFC\xF2;\xD0\xE1\xF1\xE1\xF4\xDE\xF1\xE7\xF3\xE7;\xD3\xF7\xFC\xEB\xE9\xEF\n\
        \xD0\xEF\xF4\xE1\xEC\xEF\xFD;\xE4\xE9\xE1\xEC\xDE\xEA\xE7\xF2 \xF1\xF9\xE3\xEC\xDE;\
        \xF1\xDF\xE6\xE5\xF2 \xF3\xF4\xE7 \xF3\xFD\xED\xE4\xE5\xF3\xE7\n\xC3\xDD\xF6\xF5\xF1\
        \xE1\xF2;\xE9\xE6\xDE\xEC\xE1\xF4\xE1 \xF3\xF4\xEF\xED \xF0\xF5\xE8\xEC\xDD\xED\xE1;\
        \xEC\xE5\xF4\xE1\xF4\xEF\xF0\xE9\xF3\xEC\xDD\xED\xEF\xF2 \xE1\xF1\xEC\xFC\xF2\n",
        "Οδός;Παρατήρηση;Σχόλιο\nΠοταμού;διαμήκης ρωγμή;ρίζες στη σύνδεση\nΓέφυρας;ιζήματα στον \
        πυθμένα;μετατοπισμένος αρμός\n",
    ),
    (
        "windows-1254",
        b"Sokak;G\xF6zlem;A\xE7\xFDklama\nIrmak Caddesi;boyuna \xE7atlak;ba\xF0lant\xFDda k\xF6k \
        giri\xFEi\nK\xF6pr\xFCba\xFE\xFD;tabanda \xE7\xF6kelti;kaym\xFD\xFE ek yeri, s\xFDz\
        \xFDnt\xFD \xFE\xFCphesi\n",
        "Sokak;Gözlem;Açıklama\nIrmak Caddesi;boyuna çatlak;bağlantıda kök girişi\nKöprübaşı;ta\
        banda çökelti;kaymış ek yeri, sızıntı şüphesi\n",
    ),
    (
        "windows-1257",
        b"Gatv\xEB;Steb\xEBjimas;Pastaba\nUp\xEBs;i\xF0ilginis \xE1tr\xFBkimas;\xF0aknys prie ju\
        ngties\nTilto;nuos\xEBdos dugne;pasislinkusi jungtis, \xFEvyras\n",
        "Gatvė;Stebėjimas;Pastaba\nUpės;išilginis įtrūkimas;šaknys prie jungties\nTilto;nuosėdo\
        s dugne;pasislinkusi jungtis, žvyras\n",
    ),
    (
        "windows-1257",
        b"Iela;Nov\xE7rojums;Piez\xEEme\nUpes;gareniska plaisa;saknes pie piesl\xE7guma\nTilta;n\
        ogulsnes gultn\xE7;nob\xEEd\xEEts savienojums, da\xEF\xE7ji aizs\xE7r\xE7jis\n",
        "Iela;Novērojums;Piezīme\nUpes;gareniska plaisa;saknes pie pieslēguma\nTilta;nogulsnes \
        gultnē;nobīdīts savienojums, daļēji aizsērējis\n",
    ),
    (
        "windows-1252",
        b"Stra\xDFe;Feststellung;Bemerkung\nM\xFChlgasse;L\xE4ngsriss;Wurzeleinwuchs am Anschlus\
        s\nBr\xFCckenweg;Ablagerung in der Sohle;verschobene Rohrverbindung, Gr\xF6\xDFe unkla\
        r\n",
        "Straße;Feststellung;Bemerkung\nMühlgasse;Längsriss;Wurzeleinwuchs am Anschluss\nBrücke\
        nweg;Ablagerung in der Sohle;verschobene Rohrverbindung, Größe unklar\n",
    ),
    (
        "windows-1252",
        b"Rue;Constat;Remarque\nde la Rivi\xE8re;fissure longitudinale;racines \xE0 la jonction\
        \ndu Pont;d\xE9p\xF4ts au radier;embo\xEEtement d\xE9cal\xE9, \xE9tanch\xE9it\xE9 dout\
        euse\n",
        "Rue;Constat;Remarque\nde la Rivière;fissure longitudinale;racines à la jonction\ndu Po\
        nt;dépôts au radier;emboîtement décalé, étanchéité douteuse\n",
    ),
    (
        "windows-1252",
        b"Calle;Observaci\xF3n;Comentario\ndel R\xEDo;grieta longitudinal;ra\xEDces en la acomet\
        ida\ndel Pe\xF1\xF3n;sedimentos;junta desplazada, filtraci\xF3n se\xF1alada\n",
        "Calle;Observación;Comentario\ndel Río;grieta longitudinal;raíces en la acometida\ndel \
        Peñón;sedimentos;junta desplazada, filtración señalada\n",
    ),
    (
        "windows-1252",
        b"Gade;Observation;Bem\xE6rkning\n\xC5vej;l\xE6ngderevne;r\xF8dder ved tilslutning\nBrog\
        ade;aflejring;forskudt samling, ut\xE6t\n",
        "Gade;Observation;Bemærkning\nÅvej;længderevne;rødder ved tilslutning\nBrogade;aflejrin\
        g;forskudt samling, utæt\n",
    ),
    (
        "windows-1252",
        b"Straat;Waarneming;Opmerking\nRivierkade;langsscheur;wortelingroei bij aansluiting \xE9\
        \xE9n\n",
        "Straat;Waarneming;Opmerking\nRivierkade;langsscheur;wortelingroei bij aansluiting één\
        \n",
    ),
    (
        "windows-1252",
        b"Via;Osservazione;Nota\ndel Fiume;fessura;radici, pi\xF9 gi\xF9 \xE8 ostruita, perch\
        \xE9\n",
        "Via;Osservazione;Nota\ndel Fiume;fessura;radici, più giù è ostruita, perché\n",
    ),
    (
        "windows-1252",
        b"Gata;Observation;Anm\xE4rkning\n\xC5gatan;l\xE4ngsg\xE5ende spricka;r\xF6tter vid ansl\
        utning\nBrogatan;avlagring p\xE5 botten;f\xF6rskjuten fog, ok\xE4nd storlek\n",
        "Gata;Observation;Anmärkning\nÅgatan;längsgående spricka;rötter vid anslutning\nBrogata\
        n;avlagring på botten;förskjuten fog, okänd storlek\n",
    ),
];

/// The encoding of each is found from its bytes, or one with the same letters for them.
#[test]
fn the_encoding_of_bytes_is_detected() {
    for (label, bytes, text) in TABLES {
        let encoding = Encoding::for_label(label.as_bytes()).unwrap();
        assert_eq!(encoding.decode_without_bom_handling(bytes).0, text, "{label}");
        let found = of_bytes(bytes);
        let read = found.decode_without_bom_handling(bytes).0;
        assert_eq!(read, text, "{} was taken for {}", label, found.name());
    }
}

fn notes(text: &str) -> Vec<String> {
    let mut texts = Texts::default();
    text.split([';', '\n']).for_each(|cell| texts.add(cell, || "in line 1".to_owned()));
    texts.notes()
}

/// Nothing is wrong with any of them.
#[test]
fn texts_that_were_read_right_are_not_doubted() {
    for (label, _, text) in TABLES {
        assert_eq!(notes(text), Vec::<String>::new(), "{label}: {text}");
    }
}

/// Each was read as another encoding, as programs do that expect that of their own country.
#[test]
fn a_wrong_encoding_is_named() {
    let mut count = 0;
    for (label, bytes, text) in TABLES {
        for wrong in READ_AS.iter().filter(|wrong| !wrong.name().eq_ignore_ascii_case(label)) {
            let read = wrong.decode_without_bom_handling(bytes).0;
            let same = text.split_whitespace().zip(read.split_whitespace());
            // Most letters of the West are the same in Central Europe and in Turkey.
            if same.filter(|(one, other)| one != other).count() < 5 || read.contains('\u{fffd}') {
                continue;
            }
            count += 1;
            let notes = notes(&read);
            // Or it is garbled, since the other encoding has no letter for some byte.
            let said = notes.iter().any(|note| note.contains(label) || note.contains("was lost"));
            assert!(said, "{label} read as {}: {notes:?}\n{read}", wrong.name());
        }
    }
    assert!(count > 40, "{count}");
}

/// UTF-8 read as each encoding.
#[test]
fn utf8_that_was_misread_is_named() {
    let mut count = 0;
    for (label, _, text) in TABLES {
        for wrong in READ_AS {
            let (read, is_lacking) = wrong.decode_without_bom_handling(text.as_bytes());
            if is_lacking {
                continue;
            }
            count += 1;
            let notes = notes(&read);
            let said = notes.iter().any(|note| note.contains("is UTF-8 that was read in another"));
            assert!(said, "{label} read as {}: {notes:?}\n{read}", wrong.name());
        }
    }
    assert!(count > 40, "{count}");
}

#[test]
fn lost_letters_are_found() {
    let found = notes("L?ngsriss;ist das so?;http://x.example/?a=b;Stra?e");
    assert_eq!(found.len(), 1);
    assert!(found[0].starts_with("2 cells have a question mark inside a word, first in line 1"));
    let found = notes("L\u{fffd}ngsriss");
    assert!(found[0].starts_with("1 cell is garbled"), "{found:?}");
}
