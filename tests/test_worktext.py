from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seallife.intake.evidence import EVIDENCE
from seallife.intake.worktext import read_evidence, read_work
from seallife.schema import REASONS

FAILED, RISING, OTHER = "seal failed", "pulled on rising leakage", "other pump part"
AGE, OUTAGE, UPGRADE, UNKNOWN = "planned by age", "planned in outage", "upgrade", "unknown"
LOOKED, SUPPORT, WORK = "seal looked at", "seal support", "other work"
C, P, J, S = "corrective", "planned", "project", "inspection"

# Invented lines: text, order type, reason of the removal (or the kind of work), end, early.
LINES: list[tuple[str, str, str, str, bool]] = [
    # --- English: failures
    ("P-204B NDE m/seal blowing, swapped to A, cart renewed", C, FAILED, "NDE", False),
    ("Mech seal leaking", C, FAILED, "", False),
    ("mech seal leaking, renewed cartridge", "", FAILED, "", False),
    ("MECH SEAL LEAKING. REPLACED.", C, FAILED, "", False),
    ("P-101A DE SEAL LEAKING BADLY, REPLACED", C, FAILED, "DE", False),
    ("P-101A NDE SEAL FAILED - NEW SEAL FITTED", C, FAILED, "NDE", False),
    ("seal nde passing, chgd", C, FAILED, "NDE", False),
    ("DE seal ok. NDE seal leaking, renewed", C, FAILED, "NDE", False),
    ("Both seals leaking, both replaced", C, FAILED, "both", False),
    ("DE and NDE mech seals dripping, renewed both", C, FAILED, "both", False),
    ("Drive end m/seal spraying product. Pump isolated. New cart fitted.", C, FAILED, "DE", False),
    ("Non drive end seal leaking", C, FAILED, "NDE", False),
    ("m/seal lkg, rplcd cart", C, FAILED, "", False),
    ("Mech seel leeking from gland plate, repl", C, FAILED, "", False),
    ("High pot level, cartridge exchanged", C, FAILED, "", False),
    (
        "Loss of barrier fluid overnight. Inner seal faces cracked, seal renewed",
        C,
        FAILED,
        "",
        False,
    ),
    ("Seal emissions high, 12000 ppm above limit. Seal changed out", C, FAILED, "", False),
    ("PM: mech seal found leaking, renewed", P, FAILED, "", False),
    (
        "Seal leaking. Motor isolated, coupling removed, cartridge replaced, alignment ok, run ok",
        C,
        FAILED,
        "",
        False,
    ),
    ("Uncoupled. Changed cartridge seal. Coupling refitted", C, FAILED, "", False),
    ("Seal failed, bearings ok", C, FAILED, "", False),
    ("mech seal leaking bearing noisy both renewed", C, FAILED, "", False),
    ("Bearing failed and seal leaking, both renewed", C, FAILED, "", False),
    ("Seal leaking during T/A prep, renewed", C, FAILED, "", False),
    ("Replaced leaking seal, bearings and sleeve", C, FAILED, "", False),
    ("motor not running, seal leaking, changed cart", C, FAILED, "", False),
    ("No 2 seal leaking, replaced", C, FAILED, "", False),
    ("No spare available. Seal leaking since 3 pm, replaced next day", C, FAILED, "", False),
    ("Seal leaking, topped up pot daily, finally seal replaced", C, FAILED, "", False),
    # --- English: early failures
    ("Seal changed, leaks again after 2 d, faces chipped on fitting", C, FAILED, "", True),
    ("New seal leaking on start-up, set screws loose, refitted new seal", C, FAILED, "", True),
    ("Mech seal leaking after repair, clips left in, replaced", C, FAILED, "", True),
    ("Seal leaked at start up, not seated, changed", C, FAILED, "", True),
    ("Replaced seal, no leak on start-up", P, AGE, "", False),
    # --- English: rising, planned, outage, upgrade, other job
    ("Seal leakage rising, cartridge replaced before limit", C, RISING, "", False),
    ("ppm trending up on DE seal, swapped cart at next opportunity", P, RISING, "DE", False),
    ("Leak increasing slowly. Seal renewed.", C, RISING, "", False),
    ("PM routine change of mech seal", P, AGE, "", False),
    ("Seal renewed as a precaution, not leaking", C, AGE, "", False),
    ("Scheduled seal replacement, life expired", P, AGE, "", False),
    ("Unplanned seal replacement", C, FAILED, "", False),
    ("Seal replaced to prevent leakage, time based", P, AGE, "", False),
    ("Seals renewed in T/A", P, OUTAGE, "", False),
    ("Turnaround 2022: mech seal replaced, was not leaking", "", OUTAGE, "", False),
    ("Mech seal renewed during shutdown", C, OUTAGE, "", False),
    ("MOC 2019-44: convert plan 11 to 53B, new cartridge installed", J, UPGRADE, "", False),
    ("Upgraded mech seal to new design", P, UPGRADE, "", False),
    ("Seal failed, replaced with upgraded faces", C, FAILED, "", False),
    ("Brg DE noisy. Renewed brgs, seal kit fitted while down", C, OTHER, "", False),
    ("Bearings replaced, seal renewed at the same time", C, OTHER, "", False),
    ("bearing failed seal kit fitted while down", C, OTHER, "", False),
    ("High vibration. Impeller damaged and renewed. New mech seal fitted.", C, OTHER, "", False),
    ("Replaced bearings, seal, wear rings", C, OTHER, "", False),
    ("Seized pump. New rotor and seal installed", C, OTHER, "", False),
    ("Replace mech seal", "", UNKNOWN, "", False),
    ("Replace mech seal", C, FAILED, "", False),
    ("Replace mech seal", P, AGE, "", False),
    ("Replace mech seal", J, UPGRADE, "", False),
    ("Seal drawing checked, seal changed", S, UNKNOWN, "", False),
    # --- English: no removal
    ("Reset pot level alarm, no leak", C, SUPPORT, "", False),
    ("Seal checked, no leak found", C, LOOKED, "", False),
    ("Mech seal leaking slightly, nipped up, ok now", C, LOOKED, "", False),
    ("Seal weep within limits, monitor", C, LOOKED, "", False),
    ("Seal not leaking", C, LOOKED, "", False),
    ("Seal leak: none", C, LOOKED, "", False),
    ("No sign of leakage at mech seal", C, LOOKED, "", False),
    ("Seal stopped leaking after tightening gland bolts", C, LOOKED, "", False),
    ("Inspect seal, leak test passed", S, LOOKED, "", False),
    ("Bearings replaced and seal checked", C, LOOKED, "", False),
    ("Bearing renewed. Seal inspected, good condition", C, LOOKED, "", False),
    ("Seal to be replaced at next TA", P, LOOKED, "", False),
    ("New cartridge ordered", P, LOOKED, "", False),
    ("Recommend to replace seal", S, LOOKED, "", False),
    ("Seal was not replaced", P, LOOKED, "", False),
    ("Barrier fluid topped up", C, SUPPORT, "", False),
    ("Seal pot level low, refilled", C, SUPPORT, "", False),
    ("Seal cooler leaking, cooler replaced", C, SUPPORT, "", False),
    ("Seal flush line blocked, orifice cleaned and renewed", C, SUPPORT, "", False),
    ("Replaced bladder in accumulator", P, SUPPORT, "", False),
    ("High pot level alarm, reset", C, SUPPORT, "", False),
    ("Oil seal leaking on DE bearing housing, replaced", C, WORK, "", False),
    ("Replaced valve seal", C, WORK, "", False),
    ("Door seal torn, renewed", C, WORK, "", False),
    ("Gland packing leaking, repacked", C, WORK, "", False),
    ("Bearing isolator renewed", P, WORK, "", False),
    ("Flange sealed with compound", C, WORK, "", False),
    ("Suction valve passing, replaced", C, WORK, "", False),
    ("MS plate welded on base", C, WORK, "", False),
    ("Motor bearings replaced", C, WORK, "", False),
    ("Renewed seals on gearbox", C, WORK, "", False),
    ("Compressor seal leaking, renewed", C, WORK, "", False),
    ("Seal on manhole cover replaced", P, WORK, "", False),
    ("Vibration checked ok, seal renewed", C, FAILED, "", False),
    ("Seal renewed with bearings", "", OTHER, "", False),
    ("Monthly walkdown, no remarks", S, WORK, "", False),
    ("20 percent of lube oil lost", C, WORK, "", False),
    ("", C, WORK, "", False),
    ("repair pump", C, WORK, "", False),
    # --- German
    ("GLRD undicht, getauscht", C, FAILED, "", False),
    ("GLRD AS undicht, erneuert", C, FAILED, "DE", False),
    ("GLRD BS tropft, gewechselt", C, FAILED, "NDE", False),
    ("GLEITRINGDICHTUNG UNDICHT, AUSGETAUSCHT", C, FAILED, "", False),
    ("Gleitringdichtung Antriebsseite leckt stark", C, FAILED, "DE", False),
    ("Gleitringdichtung defekt, neue GLRD eingebaut, Probelauf i.O.", C, FAILED, "", False),
    ("Undichte Wellendichtung ersetzt", C, FAILED, "", False),
    ("GLRD undicht, neue vom Lager entnommen und eingebaut", C, FAILED, "", False),
    ("GLRD nach Reparatur erneut undicht, Montagefehler, getauscht", C, FAILED, "", True),
    ("Leckage steigend, GLRD getauscht", C, RISING, "", False),
    ("GLRD vorbeugend getauscht i.R. Revision", P, OUTAGE, "", False),
    ("GLRD vorbeugend gewechselt", P, AGE, "", False),
    ("GLRD vorbeugend gewechselt, Ersatz aus dem Lager", P, AGE, "", False),
    ("Umbau auf doppeltwirkende GLRD", J, UPGRADE, "", False),
    ("Lager defekt, GLRD mit erneuert", C, OTHER, "", False),
    ("Lagerschaden BS, Lager und GLRD getauscht", C, OTHER, "NDE", False),
    ("Kupplung verschlissen, getauscht. GLRD geprüft, nicht undicht", C, LOOKED, "", False),
    ("GLRD geprüft, keine Leckage", C, LOOKED, "", False),
    ("GLRD leckt nicht", C, LOOKED, "", False),
    ("Neue GLRD bestellt", P, LOOKED, "", False),
    ("Sperrflüssigkeit nachgefüllt", C, SUPPORT, "", False),
    ("Wellendichtring am Getriebe undicht, ersetzt", C, WORK, "", False),
    ("Flachdichtung am Deckel erneuert", C, WORK, "", False),
    ("Ersatzteile vom Lager geholt", C, WORK, "", False),
    # --- French
    ("Garniture fuit, remplacée", C, FAILED, "", False),
    ("Fuite garniture mécanique côté accouplement, échange", C, FAILED, "DE", False),
    ("GM HS, remplacement cartouche", C, FAILED, "", False),
    ("FUITE DE GARNITURE SUR POMPE DE CHARGE, REMPLACEE", C, FAILED, "", False),
    ("Garniture COA fuyarde, changée", C, FAILED, "NDE", False),
    ("Garniture neuve fuit au démarrage, remplacée", C, FAILED, "", True),
    ("Fuite croissante, garniture remplacée", C, RISING, "", False),
    ("Remplacement préventif de la garniture", P, AGE, "", False),
    ("Garniture remplacée par précaution lors du grand arrêt", P, OUTAGE, "", False),
    ("Roulement HS, remplacement roulements et garniture", C, OTHER, "", False),
    ("Garniture contrôlée, pas de fuite", C, LOOKED, "", False),
    ("La garniture ne fuit pas", C, LOOKED, "", False),
    ("Garniture à remplacer, pièce commandée", C, LOOKED, "", False),
    ("Appoint liquide de barrage", C, SUPPORT, "", False),
    ("Presse-étoupe vanne resserré", C, WORK, "", False),
    # --- Spanish
    ("Fuga en sello mecánico, se cambia sello", C, FAILED, "", False),
    ("FUGA DE SELLO MECANICO DE BOMBA, SE REEMPLAZA", C, FAILED, "", False),
    ("Sello mecánico gotea lado libre, sustituido", C, FAILED, "NDE", False),
    ("Sello LOA roto, cambiado", C, FAILED, "NDE", False),
    ("Sello fuga al arrancar tras reparación, se cambia", C, FAILED, "", True),
    ("Fuga en aumento, cambio de sello", C, RISING, "", False),
    ("Cambio preventivo de sello mecánico", P, AGE, "", False),
    ("Cambio de sellos en parada general", P, OUTAGE, "", False),
    ("Rodamiento roto, cambio de rodamientos y sello", C, OTHER, "", False),
    ("Sello revisado, sin fuga", C, LOOKED, "", False),
    ("No se observa fuga en sello", C, LOOKED, "", False),
    ("Sello por cambiar, pendiente de repuesto", C, LOOKED, "", False),
    ("Nivel pote bajo, se rellena líquido barrera", C, SUPPORT, "", False),
    ("Cambio sello de válvula", C, WORK, "", False),
    ("Empaquetadura con fuga, ajustada", C, WORK, "", False),
    # --- Portuguese
    ("Selo mecânico vazando, trocado", C, FAILED, "", False),
    ("VAZAMENTO NO SELO DO LADO LIVRE, SELO SUBSTITUIDO", C, FAILED, "NDE", False),
    ("Selo pingando na partida após reparo, trocado", C, FAILED, "", True),
    ("Vazamento crescente, troca do selo", C, RISING, "", False),
    ("Troca preventiva do selo mecânico", P, AGE, "", False),
    ("Troca de selos na parada geral", P, OUTAGE, "", False),
    ("Rolamento com defeito, troca de rolamentos e selo", C, OTHER, "", False),
    ("Selo verificado, sem vazamento", C, LOOKED, "", False),
    ("Completado nível do pote de selagem", C, SUPPORT, "", False),
    ("Gaxeta da válvula vazando, reapertada", C, WORK, "", False),
    # --- Italian
    ("Tenuta meccanica perde, sostituita", C, FAILED, "", False),
    ("Perdita dalla tenuta lato opposto, sostituzione", C, FAILED, "NDE", False),
    ("Tenuta perde all'avvio dopo riparazione, sostituita", C, FAILED, "", True),
    ("Perdita in aumento, sostituita tenuta", C, RISING, "", False),
    ("Sostituzione preventiva tenuta", P, AGE, "", False),
    ("Tenuta sostituita durante la fermata", P, OUTAGE, "", False),
    ("Cuscinetto rumoroso, sostituiti cuscinetti e tenuta", C, OTHER, "", False),
    ("Tenuta controllata, nessuna perdita", C, LOOKED, "", False),
    ("Rabbocco fluido di barriera", C, SUPPORT, "", False),
    ("Paraolio perde, sostituito", C, WORK, "", False),
    # --- Dutch
    ("Mechanical seal lekt, vervangen", C, FAILED, "", False),
    ("Asafdichting lekt aandrijfzijde, vernieuwd", C, FAILED, "DE", False),
    ("LEKKAGE AAN DE SEAL VAN DE POMP, VERVANGEN", C, FAILED, "", False),
    ("Seal lekt weer bij opstart na reparatie, vervangen", C, FAILED, "", True),
    ("Lekkage neemt toe, seal gewisseld", C, RISING, "", False),
    ("Seal preventief vervangen", P, AGE, "", False),
    ("Seals vernieuwd in de stop", P, OUTAGE, "", False),
    ("Lager defect, lagers en seal vervangen", C, OTHER, "", False),
    ("Seal gecontroleerd, geen lekkage", C, LOOKED, "", False),
    ("Sperrvloeistof bijgevuld", C, SUPPORT, "", False),
    ("Oliekeerring lekt, vervangen", C, WORK, "", False),
    # --- as a plant would write them
    (
        "Pump leaking from seal area. Fitter found outboard seal gone. New unit fitted.",
        C,
        FAILED,
        "NDE",
        False,
    ),
    ("seal blown again, 3rd this year. renewed with spare from stores", C, FAILED, "", True),
    ("M/SEAL WEEPING 10 DROPS/MIN. CHANGED OUT", C, FAILED, "", False),
    ("Mechanical seal change-out due to excessive leakage at inboard end", C, FAILED, "DE", False),
    ("Renew m/s seal - hydrocarbon detector alarm at pump", C, FAILED, "", False),
    ("Flush plan 53B low pressure alarm. Accumulator recharged.", C, SUPPORT, "", False),
    ("Cooling water leak on seal cooler. Cooler replaced.", C, SUPPORT, "", False),
    ("Coupling spacer cracked, replaced. Seal left in place, no leak.", C, LOOKED, "", False),
    ("Casing gasket blown, pump opened, gasket and seal replaced", C, OTHER, "", False),
    ("Seal ok", S, LOOKED, "", False),
    (
        "Noise from bearing. Opened pump. Bearings and mechanical seal replaced.",
        C,
        OTHER,
        "",
        False,
    ),
    ("Quench steam line to seal leaking, tightened", C, SUPPORT, "", False),
    ("Install new mechanical seal cartridge, old leaking > 30 dpm", C, FAILED, "", False),
    ("P101A seal replacement (PM 24 months)", P, AGE, "", False),
    ("Replace mech seal, type conversion single to dual, project 442", J, UPGRADE, "", False),
    ("Changed seal oil filter", P, SUPPORT, "", False),
    ("leak on drain valve of P-101, valve changed", C, WORK, "", False),
    ("LDAR: reading 8500 ppm at seal, above limit. cartridge replaced", C, FAILED, "", False),
    (
        "Pumpe P101 Gleitringdichtung tropft ca. 20 Tr/min, Dichtung gewechselt",
        C,
        FAILED,
        "",
        False,
    ),
    ("GLRD Wechsel wegen Leckage Antriebsseite", C, FAILED, "DE", False),
    ("Pumpe laut, Lager verschlissen. Lager + GLRD neu", C, OTHER, "", False),
    ("GLRD leicht feucht, weiter beobachten", C, LOOKED, "", False),
    ("Sperrdruckbehälter Füllstand niedrig, aufgefüllt", C, SUPPORT, "", False),
    ("Dichtung am Saugflansch undicht, erneuert", C, WORK, "", False),
    ("GLRD ausgefallen nach 3 Wochen, falsche Dichtung eingebaut, neu", C, FAILED, "", True),
    ("Wechsel GLRD im Rahmen Stillstand 2021, keine Undichtigkeit", P, OUTAGE, "", False),
    ("Keine Leckage festgestellt an GLRD", C, LOOKED, "", False),
    (
        "fuite importante garniture pompe P12, dépose et remplacement garniture",
        C,
        FAILED,
        "",
        False,
    ),
    ("Remplacement garniture mécanique suite fuite", C, FAILED, "", False),
    ("Changement roulements et garniture (vibrations)", C, OTHER, "", False),
    ("Contrôle garniture : RAS", S, LOOKED, "", False),
    ("Complément huile de barrage, niveau bas", C, SUPPORT, "", False),
    ("Garniture percée côté opposé, remplacée par neuve", C, FAILED, "NDE", False),
    ("Cambio de sello mecánico por fuga excesiva", C, FAILED, "", False),
    ("bomba con ruido, se cambian rodamientos y sello mecanico", C, OTHER, "", False),
    ("Se detecta goteo en sello mecánico, se reemplaza por cartucho nuevo", C, FAILED, "", False),
    ("Sello sin fugas, se limpia y se deja en servicio", C, LOOKED, "", False),
    ("Relleno de depósito de líquido barrera", C, SUPPORT, "", False),
    ("Substituição do selo mecânico devido vazamento", C, FAILED, "", False),
    ("Bomba com vibração alta. Trocados rolamentos e selo.", C, OTHER, "", False),
    ("Inspeção do selo, nenhum vazamento", S, LOOKED, "", False),
    ("Sostituzione tenuta meccanica per perdita", C, FAILED, "", False),
    ("Tenuta gocciola leggermente, nei limiti", C, LOOKED, "", False),
    ("Mechanical seal vervangen wegens lekkage", C, FAILED, "", False),
    ("Pomp maakt herrie, lagers vervangen, seal mee vervangen", C, OTHER, "", False),
    ("Seal lekt niet", C, LOOKED, "", False),
    ("no spare seal in stores, seal leaking, pump swapped to B", C, FAILED, "", False),
    ("REPLACE SEAL", P, AGE, "", False),
    ("CAMBIO SELLO BOMBA 12 LADO ACOPLE POR FUGA", C, FAILED, "DE", False),
    ("SEAL DE LEAKING", C, FAILED, "DE", False),
    ("seal not leaking any more, NFF", C, LOOKED, "", False),
    ("bearings OK, seal faces heat checked, seal renewed", C, FAILED, "", False),
    (
        "Pulled seal on rising LDAR trend before limit reached; new cartridge in",
        P,
        RISING,
        "",
        False,
    ),
    ("chg seal", C, FAILED, "", False),
    ("seal replacd", C, FAILED, "", False),
    ("vib high, brg chg, seal chg", C, OTHER, "", False),
    ("Strainer blocked, cleaned. Seal ran dry and failed, replaced.", C, FAILED, "", False),
]


def _read(text: str, wo_type: str, part: bool = False, outage: bool = False) -> pd.Series:
    one = {"text": [text], "wo_type": [wo_type], "part": [part], "outage": [outage]}
    row = pd.DataFrame(one)
    return read_work(row["text"], row["wo_type"], row["part"], row["outage"]).iloc[0]


def test_the_lines_are_many_and_different() -> None:
    assert len({(t, w) for t, w, *_ in LINES}) == len(LINES) >= 120


@pytest.mark.parametrize(("text", "wo_type", "meant", "end", "early"), LINES)
def test_what_a_line_says(text: str, wo_type: str, meant: str, end: str, early: bool) -> None:
    got = _read(text, wo_type)
    said = got["reason"] if got["kind"] == "removal" else got["kind"]
    assert said == meant, got.to_dict()
    assert got["fitting_fault"] == early, got.to_dict()
    if got["kind"] == "removal":
        assert got["end_named"] == end, got.to_dict()
        assert 0.5 <= got["confidence"] <= 0.95
    else:
        assert pd.isna(got["confidence"])


# --- what stands beside the text -------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "wo_type", "part", "outage", "meant"),
    [
        ("", C, True, False, UNKNOWN),
        ("", P, True, False, AGE),
        ("repair pump", "", True, False, UNKNOWN),
        ("pump checked", C, True, False, UNKNOWN),
        ("Replace mech seal", "", False, True, OUTAGE),
        ("Replace mech seal", P, False, True, OUTAGE),
        ("Replace mech seal, leaking", P, False, True, FAILED),
        ("Replace mech seal", C, False, True, FAILED),
        ("Mech seal leaking", P, False, False, LOOKED),
        ("Mech seal leaking", S, False, False, LOOKED),
        ("Mech seal leaking", P, True, False, FAILED),
        ("Seal pot cleaned", P, True, False, AGE),
        ("Upgrade of mech seal, old one leaking", J, False, False, UPGRADE),
    ],
)
def test_order_type_store_and_outage_count(
    text: str, wo_type: str, part: bool, outage: bool, meant: str
) -> None:
    got = _read(text, wo_type, part, outage)
    assert (got["reason"] if got["kind"] == "removal" else got["kind"]) == meant


def test_words_are_surer_than_the_order_type_and_that_than_nothing() -> None:
    said = _read("Seal leaking, renewed", C)["confidence"]
    typed = _read("Seal renewed", C)["confidence"]
    bare = _read("Seal leaking", C)["confidence"]
    nothing = _read("Seal renewed", "")["confidence"]
    against = _read("Seal renewed", C, outage=True)["confidence"]
    assert said > typed > bare > nothing
    assert typed > against > nothing


def test_every_reason_is_of_the_schema() -> None:
    lines = pd.DataFrame([line[:2] for line in LINES], columns=["text", "wo_type"])
    no = pd.Series(False, index=lines.index)
    got = read_work(lines["text"], lines["wo_type"], no, no)
    assert set(got["reason"]) - {""} <= set(REASONS)
    assert set(got["kind"]) == {"removal", LOOKED, SUPPORT, WORK}
    assert (got["reason"] == "").equals(got["kind"] != "removal")


def test_evidence_is_named() -> None:
    assert _read("Brg failed, seal checked, no leak", C)["evidence"] == "seal, other_job, no_action"


def test_index_and_repeats_are_kept_and_nothing_is_changed() -> None:
    text = pd.Series(["Seal leaking", "", "Seal leaking"], index=[7, 3, 9])
    before = text.copy()
    found = read_evidence(text)
    assert found.index.tolist() == [7, 3, 9]
    assert found["failure"].tolist() == [True, False, True]
    assert tuple(found.columns) == EVIDENCE
    pd.testing.assert_series_equal(text, before)
    assert read_evidence(text[:0]).empty


# --- what must hold of any text --------------------------------------------------------------

_texts = st.sampled_from([t for t, *_ in LINES])


@given(_texts, _texts)
def test_another_sentence_takes_no_seal_away(one: str, two: str) -> None:
    alone = read_evidence(pd.Series([one])).iloc[0]
    both = read_evidence(pd.Series([f"{one} . {two}"])).iloc[0]
    assert both["seal"] >= alone["seal"]
    assert both["support"] >= alone["support"]


@given(_texts)
def test_accents_small_letters_and_blanks_do_not_matter(text: str) -> None:
    import unicodedata

    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    kinds = [k for k in EVIDENCE if not k.endswith(("_end", "_ends"))]
    forms = pd.Series([text, plain, text.lower(), f"  {text.replace(' ', '   ')} "])
    assert read_evidence(forms)[kinds].drop_duplicates().shape[0] == 1


@given(st.text(max_size=40))
def test_any_text_can_be_read(text: str) -> None:
    assert read_evidence(pd.Series([text])).shape == (1, len(EVIDENCE))


@pytest.mark.parametrize("failure", ["leak", "Leckage", "fuite", "fuga", "vazamento", "perdita"])
@pytest.mark.parametrize("no", ["no {}", "kein {}", "pas de {}", "sin {}", "sem {}", "nessuna {}"])
def test_a_negated_failure_is_none(no: str, failure: str) -> None:
    found = read_evidence(pd.Series([f"seal {no.format(failure)}"])).iloc[0]
    assert not found["failure"]
    assert found["no_action"]
