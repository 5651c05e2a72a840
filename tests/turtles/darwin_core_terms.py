"""Names of the terms in Darwin Core's published lists, namespace http://rs.tdwg.org/dwc/terms/.

From the standard's repository tdwg/dwc, build/xml: event_core_list.csv, occurrence_core_list.csv and
measurements_or_facts_list.csv (the lists that the archive's extensions are generated from), without the geological
context, and without the record-level terms of Dublin Core, which have another namespace.
"""

RECORD_LEVEL = """
institutionID datasetID institutionCode datasetName ownerInstitutionCode informationWithheld dataGeneralizations
dynamicProperties
"""

EVENT = """
eventID parentEventID eventType fieldNumber eventDate eventTime startDayOfYear endDayOfYear year month day
verbatimEventDate habitat samplingProtocol sampleSizeValue sampleSizeUnit samplingEffort fieldNotes eventRemarks
"""

LOCATION = """
locationID higherGeographyID higherGeography continent waterBody islandGroup island country countryCode stateProvince
county municipality locality verbatimLocality minimumElevationInMeters maximumElevationInMeters verbatimElevation
verticalDatum minimumDepthInMeters maximumDepthInMeters verbatimDepth minimumDistanceAboveSurfaceInMeters
maximumDistanceAboveSurfaceInMeters locationAccordingTo locationRemarks decimalLatitude decimalLongitude geodeticDatum
coordinateUncertaintyInMeters coordinatePrecision pointRadiusSpatialFit verbatimCoordinates verbatimLatitude
verbatimLongitude verbatimCoordinateSystem verbatimSRS footprintWKT footprintSRS footprintSpatialFit georeferencedBy
georeferencedDate georeferenceProtocol georeferenceSources georeferenceRemarks
"""

OCCURRENCE = """
feedbackURL collectionID collectionCode basisOfRecord
occurrenceID catalogNumber recordNumber recordedBy recordedByID individualCount organismQuantity organismQuantityType
sex lifeStage reproductiveCondition caste behavior vitality establishmentMeans degreeOfEstablishment pathway
georeferenceVerificationStatus occurrenceStatus associatedMedia associatedOccurrences associatedReferences
associatedTaxa otherCatalogNumbers occurrenceRemarks
organismID organismName organismScope associatedOrganisms previousIdentifications organismRemarks causeOfDeath
materialEntityID digitalSpecimenID materialEntityType discipline preparations disposition verbatimLabel
associatedSequences materialEntityRemarks materialSampleID
projectTitle projectID fundingAttributionID
identificationID verbatimIdentification identificationQualifier typeStatus typifiedName identifiedBy identifiedByID
dateIdentified identificationReferences identificationVerificationStatus identificationRemarks
taxonID scientificNameID acceptedNameUsageID parentNameUsageID originalNameUsageID nameAccordingToID namePublishedInID
taxonConceptID scientificName acceptedNameUsage parentNameUsage originalNameUsage nameAccordingTo namePublishedIn
namePublishedInYear higherClassification kingdom phylum class order superfamily family subfamily tribe subtribe genus
genericName subgenus infragenericEpithet specificEpithet infraspecificEpithet cultivarEpithet taxonRank
verbatimTaxonRank scientificNameAuthorship vernacularName nomenclaturalCode taxonomicStatus nomenclaturalStatus
taxonRemarks
"""

MEASUREMENT = """
measurementID parentMeasurementID measurementType verbatimMeasurementType measurementValue measurementAccuracy
measurementUnit measurementDeterminedBy measurementDeterminedDate measurementMethod measurementRemarks
"""

TERMS = {
    "Event": frozenset((RECORD_LEVEL + EVENT + LOCATION).split()),
    "Occurrence": frozenset((RECORD_LEVEL + EVENT + LOCATION + OCCURRENCE).split()),
    "MeasurementOrFact": frozenset(MEASUREMENT.split()),
}
# What the lists mark as required.
REQUIRED = {"Event": set(), "Occurrence": {"basisOfRecord"}, "MeasurementOrFact": {"measurementType"}}
