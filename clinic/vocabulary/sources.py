"""Every citation behind a term or a definition, once."""

from clinic.vocabulary.terms import Source

COMMON_PRACTICE = Source("Common practice, no source", "local setting")
OWN_DESIGN = Source("Our own definition", "see Decisions in DEVELOPERS.md")
ANATOMY = Source("Anatomical terms of location: tibial (medial) and fibular (lateral)", "common practice, no source")
HEIFETZ_1937 = Source(
    "Heifetz CJ. Ingrown toe-nail: a clinical study. Am J Surg 1937;38:298-315", "pages from memory, unverified"
)
MOZENA_2002 = Source("Mozena JD. J Am Podiatr Med Assoc 2002;92(3):131-135", "stage text partly from memory")
MARTINEZ_NOVA_2007 = Source(
    "Martínez-Nova A, Sánchez-Rodríguez R, Alonso-Peña D. J Am Podiatr Med Assoc 2007;97(5):389-393",
    "first page read",
)
ROUNDING_COCHRANE = Source(
    "Rounding C, Bloomfield S. Surgical treatments for ingrowing toenails. Cochrane Database of Systematic Reviews",
    "outcome titles read; symptomatic and asymptomatic recurrence at six months or more",
)
BOS_2007 = Source("Bos AMC et al. Br J Surg 2007;94:292-296", "abstract read")
SURVEILLANCE_30_DAYS = Source(
    "Surgical site infection surveillance criteria (CDC NHSN protocol), as reproduced in a guideline annex",
    "adapted; an avulsion is not a category of that surveillance",
)
SIGN_COUNT_30_DAYS = Source("Definitions in BMC Musculoskelet Disord 2013;14:356, Table 1", "adapted")
PHARMACOPOEIA_PHENOL = Source("Liquefied Phenol monographs, BP and USP", "monograph text read")
FARRAR_2001 = Source("Farrar JT et al. Pain 2001;94:149-158", "0 to 10 numeric rating scale")
WHO_CHECKLIST = Source("WHO Surgical Safety Checklist 2008/2009", "three phases")
NPSA_TOURNIQUET = Source("Lamont T et al. BMJ 2010;340:c1981", "tourniquets left on digits")
LA_TOXICITY = Source("AAGBI Safety Guideline: severe local anaesthetic toxicity, 2010", "text of that version read")
FOOT_INFECTION_GRADES = Source(
    "IWGDF/IDSA grades of foot infection, EFORT Open Rev 2018;3:513-525, Table 1",
    "anchors of redness and systemic signs",
)
ICD_10_L60 = Source("ICD-10 L60.0, ingrowing nail", "code page read")
NAIL_HANDBOOK = Source("Foot and ankle handbook, nail chapter, evidence check 2010", "citing Giacalone 1997, not read")
PERFUSION_GRADES = Source("Grades of wound, ischaemia and foot infection, Medicina 2024;60:1179, Table 2", "table read")
PAD_GUIDANCE = Source(
    "IWGDF guidance on peripheral artery disease 2015",
    "news summary read; it gives a toe-brachial index of 0.75, later editions 0.70 from memory, unverified",
)
HBA1C_BEFORE_SURGERY = Source(
    "UK perioperative guidance, HbA1c below 69 mmol/mol (8.5 %)",
    "secondary account; a prehabilitation toolkit calls the limit not supported by robust evidence",
)
INR_SKIN_SURGERY = Source("Palamaras I, Semkova K. Br J Dermatol 2015, doi 10.1111/bjd.13362", "abstract read")
ANTITHROMBOTICS_NAIL = Source("Reilly I, Blandford T. Preprint 202105.0559, 2021", "not peer reviewed")
PREGNANCY_LEAFLETS = Source("Service leaflets on nail surgery in pregnancy and breastfeeding", "no evidence base")
LIDOCAINE_CAUTIONS = Source("Lidocaine 2 % with preservative, UK summary of product characteristics", "cautions read")
CONSENT_LEAFLETS = Source("Leaflets of several UK services on nail surgery", "healing quoted between 4 and 12 weeks")
